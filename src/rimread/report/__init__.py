"""What people see: overlay pictures and readings in words."""

from rimread.report.overlay import close_up, overlay, overlay_all, save_overlay

__all__ = ["close_up", "overlay", "overlay_all", "save_overlay"]
