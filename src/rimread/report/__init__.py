"""What people see: overlay pictures, readings in words, the test report."""

from rimread.report.overlay import close_up, overlay, overlay_all, save_overlay

__all__ = ["close_up", "overlay", "overlay_all", "save_overlay"]
