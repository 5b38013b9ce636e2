"""What people see: overlay pictures and readings in words."""

from rimread.report.overlay import overlay, save_overlay

__all__ = ["overlay", "save_overlay"]
