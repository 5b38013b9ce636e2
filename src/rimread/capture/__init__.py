"""Pictures from a camera: frames, how good they are, lossless keeping, watched folders."""

from rimread.capture.burst import Burst, Scatter, average, scatter_of
from rimread.capture.camera import Camera, CameraError, name_of, open_camera
from rimread.capture.frame import Frame, photo_of
from rimread.capture.keep import Kept, keep
from rimread.capture.sight import Hint, Look, Sight, hints
from rimread.capture.steady import Steady
from rimread.capture.watch import arrivals

__all__ = [
    "Burst",
    "Camera",
    "CameraError",
    "Frame",
    "Hint",
    "Kept",
    "Look",
    "Scatter",
    "Sight",
    "Steady",
    "arrivals",
    "average",
    "hints",
    "keep",
    "name_of",
    "open_camera",
    "photo_of",
    "scatter_of",
]
