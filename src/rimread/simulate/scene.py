"""What stands in front of the simulated camera: indent, surface, light, camera.

Lengths on the specimen are in mm from the optical centre, x right and y down as in the photo;
angles in degrees from x towards y; the height of the surface counts towards the camera.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, get_args

from rimread.photo import Tone

__all__ = ["Camera", "Finish", "Indent", "Light", "LightKind", "Scene", "Surface"]

Finish = Literal["ground", "milled", "blasted", "polished"]
LightKind = Literal["ring", "side", "coaxial", "arcs"]


def _require(*rules: tuple[bool, str, object]) -> None:
    for holds, rule, given in rules:
        if not holds:
            raise ValueError(f"{rule}, got {given!r}")


@dataclass(frozen=True, slots=True)
class Indent:
    """One crater: the contact boundary, the bowl inside it and the ridge outside it.

    The contact boundary, where the ball left the metal, is an exact ellipse. The bowl is a
    spherical cap flatter than the ball by elastic recovery. Outside, the height is
    ``h (1 + crest t) exp(-t)`` with h the ridge height at the boundary and t the distance in
    ridge widths: with `crest` 0 the boundary is the top of the ridge, above 1 the ground still
    rises outside the boundary and the top lies beyond it.

    Parameters
    ----------
    d1_mm, d2_mm : float
        Major and minor axis of the contact boundary on the specimen.
    ball_mm : float
        Ball diameter.
    x_mm, y_mm : float
        Centre, from the optical centre.
    angle_deg : float
        Direction of the major axis.
    recovery : float
        Radius of curvature of the bowl over that of the ball, at least 1.
    pile : float
        Height of the ridge at the boundary over the depth of the bowl; negative: sunk in.
    pile_width : float
        Width t = 1 of the ridge over the radius of the indent.
    crest : float
        Shape of the ridge, see above.
    lobes : float
        Relative variation of the ridge height around the indent (amplitude of one harmonic).
    lobe_count : int
        Harmonic of that variation, 1 to 4; 1 is a one-sided ridge.
    lobe_deg : float
        Direction of one lobe.
    waves : tuple of (float, float)
        Cosine and sine parts of harmonics 3, 4, ... of the boundary's distance from the ellipse,
        over the radius, round the ellipse from its major axis: a ragged rim, as coarse grains make
        it. The bowl stays a sphere; the ground around meets it higher and lower. The ellipse
        stays the truth.
    edge_round_mm : float
        Standard deviation of the Gaussian that rounds the break in slope; the boundary is its
        centre.
    texture : float
        Height of the surface texture left in the bowl, 0 (pressed flat) to 1 (untouched).
    stretch : float
        How far the texture is carried outwards in the bowl, as a fraction of the distance.
    """

    d1_mm: float
    d2_mm: float
    ball_mm: float = 10.0
    x_mm: float = 0.0
    y_mm: float = 0.0
    angle_deg: float = 0.0
    recovery: float = 1.1
    pile: float = 0.1
    pile_width: float = 0.25
    crest: float = 0.5
    lobes: float = 0.0
    lobe_count: int = 2
    lobe_deg: float = 0.0
    waves: tuple[tuple[float, float], ...] = ()
    edge_round_mm: float = 0.004
    texture: float = 0.4
    stretch: float = 0.05

    def __post_init__(self) -> None:
        _require(
            (0 < self.d2_mm <= self.d1_mm, "0 < d2_mm <= d1_mm", (self.d1_mm, self.d2_mm)),
            (self.d1_mm < 0.95 * self.ball_mm, "d1_mm is less than 0.95 ball_mm", self.d1_mm),
            (1 <= self.recovery <= 3, "recovery is 1 to 3", self.recovery),
            (abs(self.pile) <= 1, "pile is -1 to 1", self.pile),
            (self.pile_width > 0, "pile_width is positive", self.pile_width),
            (0 <= self.crest <= 3, "crest is 0 to 3", self.crest),
            (0 <= self.lobes <= 1, "lobes is 0 to 1", self.lobes),
            (1 <= self.lobe_count <= 4, "lobe_count is 1 to 4", self.lobe_count),
            (sum(math.hypot(*wave) for wave in self.waves) < 0.5, "waves are small", self.waves),
            (self.edge_round_mm >= 0, "edge_round_mm is not negative", self.edge_round_mm),
            (0 <= self.texture <= 1, "texture is 0 to 1", self.texture),
            (0 <= self.stretch <= 0.3, "stretch is 0 to 0.3", self.stretch),
        )

    @property
    def mean_mm(self) -> float:
        """Mean of the two diameters."""
        return (self.d1_mm + self.d2_mm) / 2.0

    @property
    def bowl_radius_mm(self) -> float:
        """Radius of curvature of the bowl after elastic recovery."""
        return self.recovery * self.ball_mm / 2.0

    @property
    def depth_mm(self) -> float:
        """Depth of the bowl below its boundary."""
        r = self.bowl_radius_mm
        return r - math.sqrt(r * r - (self.mean_mm / 2.0) ** 2)


@dataclass(frozen=True, slots=True)
class Surface:
    """The specimen around the indent.

    Parameters
    ----------
    finish : {"ground", "milled", "blasted", "polished"}
        Kind of texture.
    finish_um : float
        Root mean square height of the texture the camera can resolve.
    coarse : float
        Size of the texture along the surface, 1 for a common one of its kind.
    lay_deg : float
        Direction of the marks.
    alpha_outside, alpha_inside : float
        Roughness of the unresolved facets (GGX) on the specimen and in the bowl.
    bowl_grain : float
        Relative scatter of the light from pixel-sized patches of the bowl, before the optics.
    scratches, stains, glints : int
        How many; scratches run over everything, glints are small bright facets.
    cylinder_mm : float
        Radius of a cylindrical surface, 0 for a flat one; the sphere of the bowl is not bent.
    cylinder_deg : float
        Direction of the cylinder's axis.
    tilt_deg, tilt_toward_deg : float
        Tilt of the specimen and the direction in which it rises.
    """

    finish: Finish = "ground"
    finish_um: float = 0.3
    coarse: float = 1.0
    lay_deg: float = 20.0
    alpha_outside: float = 0.25
    alpha_inside: float = 0.18
    bowl_grain: float = 0.0
    scratches: int = 0
    stains: int = 0
    glints: int = 0
    cylinder_mm: float = 0.0
    cylinder_deg: float = 0.0
    tilt_deg: float = 0.0
    tilt_toward_deg: float = 0.0

    def __post_init__(self) -> None:
        alphas = (self.alpha_outside, self.alpha_inside)
        _require(
            (self.finish in get_args(Finish), f"finish is one of {get_args(Finish)}", self.finish),
            (self.finish_um >= 0, "finish_um is not negative", self.finish_um),
            (0.05 <= self.coarse <= 20, "coarse is 0.05 to 20", self.coarse),
            (all(0.04 <= a <= 1 for a in alphas), "alpha is 0.04 to 1", alphas),
            (self.bowl_grain >= 0, "bowl_grain is not negative", self.bowl_grain),
            (min(self.scratches, self.stains, self.glints) >= 0, "counts are not negative", self),
            (self.cylinder_mm >= 0, "cylinder_mm is not negative", self.cylinder_mm),
            (0 <= self.tilt_deg <= 10, "tilt_deg is 0 to 10", self.tilt_deg),
        )


@dataclass(frozen=True, slots=True)
class Light:
    """Lamps far away, and the surroundings.

    Parameters
    ----------
    kind : {"ring", "side", "coaxial", "arcs"}
        A full ring, one lamp, light through the objective, or two facing arcs of a ring.
    elevation_deg : float
        Above the specimen; a coaxial light stands at 90 whatever is given.
    azimuth_deg : float
        Where the lamp, or the middle of the first arc, stands.
    spread_deg : float
        Half the angle under which the lamp is seen.
    arc_deg : float
        Half the length of each arc.
    lamps : int
        Separate lamps a ring is made of, evenly spaced from the azimuth on; 0 for a closed ring.
    ambient : float
        Light of the surroundings on a flat specimen over that of the lamp facing it.
    gradient : float
        Relative change of the light from the centre of the picture to half a diagonal towards
        the azimuth, as a lamp close by makes it.
    """

    kind: LightKind = "ring"
    elevation_deg: float = 45.0
    azimuth_deg: float = 0.0
    spread_deg: float = 5.0
    arc_deg: float = 30.0
    lamps: int = 0
    ambient: float = 0.1
    gradient: float = 0.0

    def __post_init__(self) -> None:
        kinds = get_args(LightKind)
        _require(
            (self.kind in kinds, f"kind is one of {kinds}", self.kind),
            (2 <= self.elevation_deg <= 90, "elevation_deg is 2 to 90", self.elevation_deg),
            (0 < self.spread_deg <= 30, "spread_deg is over 0 to 30", self.spread_deg),
            (0 < self.arc_deg <= 90, "arc_deg is over 0 to 90", self.arc_deg),
            (0 <= self.lamps <= 24, "lamps is 0 to 24", self.lamps),
            (self.ambient >= 0, "ambient is not negative", self.ambient),
            (abs(self.gradient) < 1, "gradient is between -1 and 1", self.gradient),
        )


@dataclass(frozen=True, slots=True)
class Camera:
    """Objective, sensor and file.

    Parameters
    ----------
    width_px, height_px : int
        Size of the picture.
    px_per_mm : float
        At the centre of the field, along x.
    aspect : float
        Scale along y over scale along x.
    k1_half_diagonal : float
        Radial term as in `rimread.scale.model.Scale`.
    blur_px : float
        Standard deviation of the optics' Gaussian blur; the area of a pixel comes on top.
    defocus_px : float
        Radius of the disc into which a point out of focus spreads.
    motion_px, motion_deg : float
        Length and direction of the smear.
    vignetting : float
        Light lost in the corners, as a fraction.
    veil : float
        Stray light over the whole picture, as a fraction of its mean light.
    exposure : float
        Light of the median pixel in fractions of full scale; held back where the brightest
        fiftieth would pass three times that, as someone at a scope does.
    full_well_e, read_noise_e : float
        Electrons at full scale and read noise in electrons.
    tone : {"srgb", "linear"}
        Tone curve of the picture.
    sharpening : float
        Strength of the unsharp mask some cameras apply, 0 for none.
    bits : {8, 16}
        Bit depth.
    jpeg_quality : int or None
        None for a lossless file; 8 bit only.
    """

    width_px: int = 1280
    height_px: int = 1024
    px_per_mm: float = 200.0
    aspect: float = 1.0
    k1_half_diagonal: float = 0.0
    blur_px: float = 0.8
    defocus_px: float = 0.0
    motion_px: float = 0.0
    motion_deg: float = 0.0
    vignetting: float = 0.1
    veil: float = 0.0
    exposure: float = 0.35
    full_well_e: float = 10_000.0
    read_noise_e: float = 8.0
    tone: Tone = "srgb"
    sharpening: float = 0.0
    bits: Literal[8, 16] = 8
    jpeg_quality: int | None = None

    def __post_init__(self) -> None:
        size = (self.width_px, self.height_px)
        quality = self.jpeg_quality
        _require(
            (min(size) >= 32, "pictures are at least 32 px wide and high", size),
            (self.px_per_mm > 0, "px_per_mm is positive", self.px_per_mm),
            (0.8 <= self.aspect <= 1.25, "aspect is 0.8 to 1.25", self.aspect),
            (abs(self.k1_half_diagonal) <= 0.2, "|k1| is at most 0.2", self.k1_half_diagonal),
            (self.blur_px >= 0, "blur_px is not negative", self.blur_px),
            (self.defocus_px >= 0, "defocus_px is not negative", self.defocus_px),
            (self.motion_px >= 0, "motion_px is not negative", self.motion_px),
            (0 <= self.vignetting < 1, "vignetting is 0 to less than 1", self.vignetting),
            (self.veil >= 0, "veil is not negative", self.veil),
            (self.exposure > 0, "exposure is positive", self.exposure),
            (self.full_well_e > 0, "full_well_e is positive", self.full_well_e),
            (self.read_noise_e >= 0, "read_noise_e is not negative", self.read_noise_e),
            (self.tone in get_args(Tone), f"tone is one of {get_args(Tone)}", self.tone),
            (self.sharpening >= 0, "sharpening is not negative", self.sharpening),
            (self.bits in {8, 16}, "bits is 8 or 16", self.bits),
            (quality is None or self.bits == 8, "jpeg_quality needs 8 bits", self.bits),
            (quality is None or 1 <= quality <= 100, "jpeg_quality is 1 to 100", quality),
        )


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything one simulated photo needs; the indents are pressed in the order given."""

    indents: tuple[Indent, ...] = ()
    surface: Surface = Surface()
    light: Light = Light()
    camera: Camera = Camera()
