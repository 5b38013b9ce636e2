"""Figures of a comparison, drawn with matplotlib (extra ``rimread[figures]``)."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from rimread import plot
from rimread.agreement.model import Comparison, Operator, Pair
from rimread.agreement.study import reading_order

if TYPE_CHECKING:  # an extra: imported when something is drawn
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["FIGURES", "draw", "save_figures", "svg"]

_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9")
"""Okabe and Ito, "Color Universal Design" (2008), without yellow and black."""
_SIGNS = "osD^vPX*"
_GREY = "#808080"
_HEIGHT_IN = 3.8
_MOST_ACROSS = 3


def _against_image(figure: Figure, study: Comparison) -> None:
    """A panel for each person, so that nobody's limits hide another's points."""
    people = study.operators
    across = min(len(people), _MOST_ACROSS)
    down = math.ceil(len(people) / across)
    figure.set_figheight(_HEIGHT_IN * (1 + 0.7 * (down - 1)))
    panels = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False).ravel()
    for index, (axes, person) in enumerate(zip(panels, people, strict=False)):
        _one_against_image(axes, person, index)
    for axes in panels[len(people) :]:
        axes.set_axis_off()
    figure.supxlabel("mean of person and image in mm", fontsize="medium")
    figure.supylabel("person less image in mm", fontsize="medium")


def _one_against_image(axes: Axes, person: Operator, index: int) -> None:
    colour = _colour(index)
    axes.set_title(person.name, loc="left", fontsize="medium")
    axes.axhline(0.0, color=_GREY, linewidth=0.8)
    axes.plot(
        [(p.human.mean_mm + p.image_mean_mm) / 2.0 for p in person.pairs],
        [p.difference_mm for p in person.pairs],
        _sign(index),
        color=colour,
        markersize=4,
    )
    if person.limits is None:
        return
    axes.axhline(person.bias.value, color=colour, linewidth=1.2)
    for limit in (person.limits.low, person.limits.high):
        axes.axhline(limit.value, color=colour, linestyle="--", linewidth=1.2)
        axes.axhspan(limit.low, limit.high, color=colour, alpha=0.12, linewidth=0.0)


def _offsets(figure: Figure, study: Comparison) -> None:
    axes = figure.subplots()
    limit = study.rules["reading_rel"] * study.d_mm
    axes.axvspan(-limit, limit, color=_GREY, alpha=0.2, linewidth=0.0)
    for index, person in enumerate(study.operators):
        bias = person.bias
        if bias.known:
            axes.plot([bias.low, bias.high], [index, index], color=_colour(index), linewidth=2.0)
        axes.plot(bias.value, index, _sign(index), color=_colour(index), markersize=8)
    axes.axvline(0.0, color=_GREY, linewidth=0.8)
    axes.set_yticks(range(len(study.operators)), [person.name for person in study.operators])
    axes.set_ylim(len(study.operators) - 0.5, -0.5)
    axes.set_xlabel("mean difference in mm with 95 % confidence; grey: what a reading may be off")


def _in_order(figure: Figure, study: Comparison) -> None:
    axes = figure.subplots()
    for index, person in enumerate(study.operators):
        axes.plot(
            range(1, len(person.pairs) + 1),
            [pair.difference_mm for pair in _sorted(person)],
            _sign(index),
            color=_colour(index),
            linestyle="-",
            linewidth=0.8,
            label=person.name,
        )
    axes.axhline(0.0, color=_GREY, linewidth=0.8)
    axes.set_xlabel("each person's readings in the order they were taken")
    axes.set_ylabel("person less image in mm")
    _legend(axes, study)


def _shares(figure: Figure, study: Comparison) -> None:
    axes = figure.subplots()
    found = study.gauge
    assert found is not None  # noqa: S101  (drawn only where there is a gauge study)
    parts = (found.repeatability, found.reproducibility, found.people)
    for index, part in enumerate(parts):
        sd = part.sd
        axes.barh(index, sd.value, color=_colour(index), height=0.5)
        axes.plot([sd.low, sd.high], [index, index], color=_GREY, linewidth=2.0)
    names = ("same person again", "another person", "both together")
    axes.set_yticks(range(len(parts)), names)
    axes.invert_yaxis()
    axes.set_xlabel("standard deviation in mm; grey line: 95 % confidence")


FIGURES: dict[str, tuple[str, Callable[[Figure, Comparison], None]]] = {
    "offsets": ("Each person against the image", _offsets),
    "agreement": (
        (
            "Differences over size. Full line: mean; broken: limits of agreement; bands: their "
            "confidence"
        ),
        _against_image,
    ),
    "order": ("Differences in the order of reading", _in_order),
    "gauge": ("Gauge study: where the scatter comes from", _shares),
}
"""Name, caption and what draws it; ``gauge`` only where there is a gauge study."""


def draw(name: str, study: Comparison) -> Figure | None:
    """One figure of `FIGURES`; None for ``gauge`` without a gauge study.

    Raises
    ------
    ValueError
        If there is no such figure, or matplotlib is not installed.
    """
    if name not in FIGURES:
        raise ValueError(f"a figure is one of {', '.join(FIGURES)} (got {name!r})")
    if name == "gauge" and study.gauge is None:
        return None
    plot.needed()
    from matplotlib import rc_context  # noqa: PLC0415  (an extra)
    from matplotlib.figure import Figure  # noqa: PLC0415  (an extra)

    with rc_context(plot.STYLE):
        figure = Figure(figsize=(7.2, _HEIGHT_IN), layout="constrained")
        FIGURES[name][1](figure, study)
    return figure


def svg(figure: Figure) -> str:
    """The figure as an SVG element; black becomes the colour of the text around it."""
    from matplotlib import rc_context  # noqa: PLC0415  (an extra)

    target = io.StringIO()
    with rc_context(plot.STYLE):
        figure.savefig(target, format="svg", transparent=True, metadata={"Date": None})
    text = target.getvalue()
    return text[text.index("<svg") :].replace("#000000", "currentColor")


def save_figures(study: Comparison, folder: Path) -> list[Path]:
    """Write every figure as SVG and PNG and return where.

    Raises
    ------
    ValueError
        If matplotlib is not installed.
    OSError
        If the folder or a file cannot be written.
    """
    figures = {name: draw(name, study) for name in FIGURES}
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for name, figure in figures.items():
        if figure is None:
            continue
        for path in (folder / f"{name}.svg", folder / f"{name}.png"):
            plot.save(figure, path, dpi=200)
            written.append(path)
    return written


def _sorted(person: Operator) -> list[Pair]:
    """Pairs by time, else trial, else as in the table."""
    _, places = reading_order([pair.human for pair in person.pairs])
    order = sorted(range(len(places)), key=places.__getitem__)
    return [person.pairs[k] for k in order]


def _legend(axes: Axes, study: Comparison) -> None:
    if len(study.operators) > 1:
        axes.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False)


def _colour(index: int) -> str:
    return _COLOURS[index % len(_COLOURS)]


def _sign(index: int) -> str:
    return _SIGNS[index % len(_SIGNS)]
