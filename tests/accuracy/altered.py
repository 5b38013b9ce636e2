"""Pictures that something was drawn into, or that were worked over after they were taken.

    python tests/accuracy/altered.py [--count N] [--seed S] [--workers W]

The first N of the photos of `simulated.py`, each altered in every way and stored as a JPEG in
colour. No line along the rim should give a number; everything else should do U no harm.
"""

import tempfile
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
from asked import options
from errors import FOOT, HEAD, Outcome, figures, line, reasons
from numpy.typing import NDArray
from simulated import names, photographed

from rimread.diameters import diameters
from rimread.photo import Photo, Tone, read_photo
from rimread.refusal import Refusal
from rimread.rim import find_rim
from rimread.simulate import Truth

Picture = NDArray[np.uint8]
GREEN, RED, YELLOW, WHITE, BLACK = (
    (0, 255, 0),
    (0, 0, 255),
    (0, 255, 255),
    (255, 255, 255),
    (0, 0, 0),
)
QUALITY = 92


def circle(
    picture: Picture,
    truth: Truth,
    colour: int | tuple[int, ...],
    *,
    off: float = 0.0,
    width: int = 1,
    dash_deg: int = 360,
) -> None:
    """Draw a circle about the rim, `off` radii away from it, to a sixteenth of a pixel."""
    centre = (round(16 * truth.centre_x_px), round(16 * truth.centre_y_px))
    radius = round(4 * (1 + off) * (truth.axis1_px + truth.axis2_px))
    for start in range(0, 360, 2 * dash_deg):
        cv2.ellipse(
            picture, centre, (radius, radius), 0, start, start + dash_deg, colour, width,
            cv2.LINE_AA, 4,
        )  # fmt: skip


def lines(
    picture: Picture,
    truth: Truth,
    colour: int | tuple[int, ...],
    *,
    places: tuple[float, ...],
    width: int = 1,
) -> None:
    """Draw lines along and across, at places in radii from the middle of the indent."""
    height, wide = picture.shape[:2]
    half = (truth.axis1_px + truth.axis2_px) / 4
    for place in places:
        x, y = (round(c + place * half) for c in (truth.centre_x_px, truth.centre_y_px))
        cv2.line(picture, (x, 0), (x, height), colour, width)
        cv2.line(picture, (0, y), (wide, y), colour, width)


def scale_bar(picture: Picture, _: Truth) -> None:
    """Draw a bar with its length into one corner, a date into another."""
    height, width = picture.shape[:2]
    cv2.rectangle(picture, (width - 260, height - 60), (width - 20, height - 20), WHITE, -1)
    cv2.line(picture, (width - 240, height - 30), (width - 40, height - 30), BLACK, 4)
    font = cv2.FONT_HERSHEY_SIMPLEX
    cv2.putText(picture, "1 mm", (width - 180, height - 38), font, 0.7, BLACK, 2)
    cv2.putText(picture, "2021-03-04 11:20", (15, 30), font, 0.8, YELLOW, 2)


def sharpened(picture: Picture, _: Truth, *, by: float, px: float) -> None:
    """Sharpen with an unsharp mask."""
    soft = cv2.GaussianBlur(picture, (0, 0), px)
    picture[:] = np.clip(picture + by * (picture.astype(float) - soft), 0, 255).astype(np.uint8)


def coarse(picture: Picture, _: Truth) -> None:
    """Compress to JPEG quality 30."""
    packed = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 30])[1]
    picture[:] = cv2.imdecode(packed, cv2.IMREAD_COLOR)


def stretched(picture: Picture, _: Truth) -> None:
    """Stretch the grey values until one in a hundred is black and one white."""
    black, white = np.percentile(picture, [1, 99])
    picture[:] = np.clip((picture - black) * (255 / (white - black)), 0, 255).astype(np.uint8)


def evened(picture: Picture, _: Truth) -> None:
    """Even out the contrast of each place (CLAHE)."""
    picture[:] = cv2.createCLAHE(2.0, (8, 8)).apply(picture[..., 0])[..., None]


def fringed(picture: Picture, _: Truth, *, by: float) -> None:
    """Make red and blue of different size, `by` of it apart, as some objectives do."""
    height, width = picture.shape[:2]
    for channel, size in ((0, 1 - by / 2), (2, 1 + by / 2)):
        middle = ((1 - size) * width / 2, (1 - size) * height / 2)
        turn = np.array([[size, 0, middle[0]], [0, size, middle[1]]])
        picture[..., channel] = cv2.warpAffine(
            picture[..., channel], turn, (width, height), borderMode=cv2.BORDER_REPLICATE
        )


def lit(picture: Picture, _: Truth, *, gains: tuple[float, float, float]) -> None:
    """Light of a colour: coded blue, green and red values times their gains."""
    picture[:] = np.clip(picture * np.array(gains), 0, 255).astype(np.uint8)


def overexposed(picture: Picture, _: Truth, *, by: float, black: int, white: int) -> None:
    """Light it more, so that it clips, then lower its white: video levels, or darkened."""
    light = np.minimum(by * picture.astype(np.float32), 255)
    picture[:] = (black + light * ((white - black) / 255) + 0.5).astype(np.uint8)


def dusty(picture: Picture, _: Truth) -> None:
    """Cast the shadows of a dozen grains of dust, 2 to 8 % of the width across."""
    rng = np.random.default_rng(3)
    height, width = picture.shape[:2]
    shade = np.ones((height, width), np.float32)
    for _ in range(12):
        middle = (int(rng.uniform(0, width)), int(rng.uniform(0, height)))
        cv2.circle(shade, middle, int(rng.uniform(0.01, 0.04) * width), rng.uniform(0.75, 0.93), -1)
    shade = np.asarray(cv2.GaussianBlur(shade, (0, 0), 3), np.float32)
    picture[:] = (picture * shade[..., None]).astype(np.uint8)


def through_eyepiece(picture: Picture, truth: Truth, *, stray: float) -> None:
    """Take it with a camera held to an eyepiece, out of its middle: stray light around."""
    height, width = picture.shape[:2]
    radius = max(0.5 * height, 0.7 * truth.axis1_px)
    centre = ((width / 2 + truth.centre_x_px) / 2, (height / 2 + truth.centre_y_px) / 2)
    reach = radius + np.hypot(centre[0] - truth.centre_x_px, centre[1] - truth.centre_y_px)
    y, x = np.mgrid[:height, :width].astype(np.float32)
    away = np.hypot(x - centre[0], y - centre[1]) / reach
    seen = (1 - 0.3 * away**2) * (away < 1)
    seen = cv2.GaussianBlur(seen, (0, 0), 3.0)[..., None]
    picture[:] = (picture * seen + stray * (1 - seen)).clip(0, 255).astype(np.uint8)


def inked(
    picture: Picture,
    truth: Truth,
    *,
    ratio: float,
    width: float,
    left: tuple[float, float, float] = (0.45, 0.45, 0.45),
) -> None:
    """Draw round the indent with a pen, by hand: so many radii away, so many radii wide.

    Of the blue, green and red (coded) so much is left.
    """
    rng = np.random.default_rng(round(truth.centre_x_px))
    half = (truth.axis1_px + truth.axis2_px) / 4
    t = np.linspace(0, 2 * np.pi + rng.uniform(0, 0.4), 240)
    waves = sum(by * np.sin(n * t + rng.uniform(0, 6)) for n, by in ((2, 0.03), (3, 0.02)))
    away = half * ratio * (1 + waves + 0.015 * t / 6.28)
    x, y = (
        centre + half * ratio * 0.05 * rng.standard_normal() + away * turn
        for centre, turn in (
            (truth.centre_x_px, np.cos(t)),
            (truth.centre_y_px, np.sin(t)),
        )
    )
    line = np.zeros(picture.shape[:2], np.uint8)
    points = np.rint(16 * np.stack([x, y], axis=1)).astype(np.int32)
    cv2.polylines(
        line, [points], isClosed=False, color=255, thickness=max(2, round(width * half)),
        lineType=cv2.LINE_AA, shift=4,
    )  # fmt: skip
    ink = cv2.GaussianBlur(line, (0, 0), 1.0).astype(float)[..., None] / 255
    shade = 1 - ink * (1 - np.array(left))
    picture[:] = (picture * shade).astype(np.uint8)


def enlarged(picture: Picture, _: Truth, *, by: float) -> None:
    """Take fewer pixels and let the camera make up the rest."""
    height, width = picture.shape[:2]
    size = (round(width / by), round(height / by))
    small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    picture[:] = cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC)


def smoothed(picture: Picture, _: Truth) -> None:
    """Take the noise away with a median of 5 by 5 pixels."""
    picture[:] = cv2.medianBlur(picture, 5)


WAYS: dict[str, dict[str, Callable[[Picture, Truth], None]]] = {
    "a line along the rim": {
        f"{name} {width} px, {off:+.0%}": partial(circle, colour=colour, off=off, width=width)
        for name, colour in {"green": GREEN, "red": RED, "white": WHITE, "black": BLACK}.items()
        for width, off in ((1, 0.01), (2, 0.02))
    },
    "lines elsewhere": {
        "green cross": partial(lines, colour=GREEN, places=(0.0,)),
        "black cross": partial(lines, colour=BLACK, places=(0.0,)),
        "green tangents": partial(lines, colour=GREEN, places=(-1.0, 1.0)),
        "scale bar and date": scale_bar,
    },
    "a ring of ink about the indent": {
        f"{ratio:g} radii away, {width:g} wide": partial(inked, ratio=ratio, width=width)
        for ratio in (1.25, 1.5, 2.0)
        for width in (0.06, 0.15)
    }
    | {"green, 1.5 radii away": partial(inked, ratio=1.5, width=0.06, left=(0.5, 0.77, 0.45))},
    "worked over": {
        "nothing": lambda _picture, _truth: None,
        "fringes of 0.5 %": partial(fringed, by=0.005),
        "JPEG quality 30": coarse,
        "sharpened 0.5": partial(sharpened, by=0.5, px=1.0),
        "sharpened 1.5": partial(sharpened, by=1.5, px=1.5),
        "contrast stretched": stretched,
        "contrast evened": evened,
        "noise taken away": smoothed,
        "enlarged 1.5 times": partial(enlarged, by=1.5),
        "overexposed": partial(overexposed, by=1.4, black=0, white=255),
        "overexposed, video levels": partial(overexposed, by=1.4, black=16, white=235),
        "overexposed, darkened": partial(overexposed, by=1.4, black=0, white=200),
        "dust on the sensor": dusty,
        "round field, black around": partial(through_eyepiece, stray=3.0),
        "round field, stray light": partial(through_eyepiece, stray=10.0),
    },
    "coloured light": {
        "warm": partial(lit, gains=(0.65, 0.87, 1.0)),
        "warm, red clips": partial(lit, gains=(0.86, 1.15, 1.33)),
        "blue": partial(lit, gains=(1.0, 0.41, 0.2)),
        "blue, clips": partial(lit, gains=(1.33, 0.55, 0.27)),
        "green, clips": partial(lit, gains=(0.51, 1.46, 0.45)),
        "red, clips": partial(lit, gains=(0.28, 0.45, 1.46)),
    },
}


def altered(task: tuple[int, str]) -> list[Outcome]:
    """What comes of one photo altered in every way."""
    shot = photographed(*task)
    grey = shot.picture if shot.picture.dtype == np.uint8 else (shot.picture >> 8).astype(np.uint8)
    found = []
    for way, alter in ((way, alter) for ways in WAYS.values() for way, alter in ways.items()):
        picture = cv2.cvtColor(grey, cv2.COLOR_GRAY2BGR)
        alter(picture, shot.truth[0])
        told = (task[1], way, True, shot.truth[0].mean_mm)
        rim = find_rim(_stored(picture, shot.scene.camera.tone))
        if isinstance(rim, Refusal):
            found.append(Outcome(*told, rim.code))
        else:
            read = diameters(rim, shot.scale)
            found.append(Outcome(*told, "measured", read.mean_mm, read.budget.U))
    return found


def _stored(picture: Picture, tone: Tone) -> Photo:
    """The picture as read back from a file, which does not say its tone curve unless it is odd."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "altered.jpg"
        cv2.imwrite(str(path), picture, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        return read_photo(path, tone=None if tone == "srgb" else tone)


def main() -> None:
    """Print one row a way, and what the refusals were."""
    asked = options(__doc__, count=60).parse_args()
    tasks = [(asked.seed, name) for name in names(asked.count) if not name.startswith("refuse")]
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn")) as pool:
        found = [one for some in pool.map(altered, tasks) for one in some]
    print(HEAD)
    for title, ways in WAYS.items():
        print(title)
        for way in ways:
            some = [one for one in found if one.group == way]
            print(f"{line(f'  {way}', figures(some))}  {reasons(some, 3)}")
    print(f"\n{FOOT}")


if __name__ == "__main__":
    main()
