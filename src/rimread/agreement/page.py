"""A comparison as one HTML file: no outside resources, light and dark, made to be printed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from html import escape

from rimread import __version__
from rimread.agreement import words
from rimread.agreement.figures import FIGURES, draw, svg
from rimread.agreement.model import Comparison, Operator, Pair
from rimread.check import Check
from rimread.report.text import CAUTION

__all__ = ["page_html"]

_CSS = """
:root { color-scheme: light dark; --line: #8886; --soft: #8882; }
body { font: 1rem/1.5 system-ui, sans-serif; max-width: 60rem; margin: 2rem auto; padding: 0 1rem; }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { padding: .25rem .5rem; border-bottom: 1px solid var(--line); text-align: right; }
th:first-child, td:first-child, td.text, th.text { text-align: left; }
thead th { border-bottom-width: 2px; vertical-align: bottom; }
tr.beyond td { background: var(--soft); font-weight: 600; }
figure { margin: 1.5rem 0; break-inside: avoid; }
figure svg { width: 100%; height: auto; }
figure svg text { fill: currentColor; }
td:first-child { white-space: nowrap; }
.wide { overflow-x: auto; }
.caution { border: 2px solid; padding: .5rem 1rem; }
section { break-inside: avoid-page; }
@media print {
  body { max-width: none; margin: 0; font-size: 10pt; }
  figure svg { max-height: 9cm; }
  td:first-child { white-space: normal; }
}
"""


def page_html(study: Comparison, title: str) -> str:
    """The page.

    Parameters
    ----------
    study : Comparison
        What to tell.
    title : str
        Of the page, e.g. the name of the table.

    Raises
    ------
    ValueError
        If matplotlib is not installed.
    """
    heading = escape(f"People against the image: {title}")
    told = [check for check in study.all_checks if check.outcome != "pass"]
    body = [
        f"<h1>{heading}</h1>",
        _paragraphs(words.about_study(study)),
        f'<p class="caution">{escape(words.NOT_A_JUDGE)} {escape(CAUTION)}</p>',
        "<h2>Person by person</h2>",
        _people(study),
        *(_person(person, study) for person in study.operators),
        _figure("offsets", study),
        _figure("agreement", study),
        _figure("order", study),
        "<h2>People together</h2>",
        _paragraphs(words.about_gauge(study)),
        _variance(study),
        _figure("gauge", study),
        "<h2>What asks for an eye</h2>",
        _checks(told),
        "<h2>Every reading</h2>",
        _readings(study),
        _left_out(study),
        (
            f"<p><small>rimread {__version__}. E_n: difference over both expanded uncertainties "
            "(ISO 13528, ISO/IEC 17043, from memory). Limits of agreement: Bland and Altman 1986, "
            "1999. Intervals are at 95 %.</small></p>"
        ),
    ]
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{heading}</title>\n<style>{_CSS}</style>\n</head>\n<body>\n"
        + "\n".join(part for part in body if part)
        + "\n</body>\n</html>\n"
    )


def _person(person: Operator, study: Comparison) -> str:
    sentences = _paragraphs(words.about_operator(person, study))
    return f"<section><h3>{escape(person.name)}</h3>{sentences}</section>"


def _people(study: Comparison) -> str:
    heads = (
        *("operator", "readings", "mean difference mm", "95 % confidence mm"),
        *("limits of agreement mm", "repeats s mm", "mean E_n", "beyond ±1"),
    )
    return _table(heads, [_person_row(person) for person in study.operators])


def _person_row(person: Operator) -> tuple[str, ...]:
    bias, limits, repeats = person.bias, person.limits, person.repeatability
    return (
        person.name,
        str(len(person.pairs)),
        f"{bias.value:+.4f}",
        f"{bias.low:+.4f} to {bias.high:+.4f}" if bias.known else "-",
        "-" if limits is None else f"{limits.low.value:+.3f} to {limits.high.value:+.3f}",
        "-" if repeats is None else f"{repeats.value:.4f}",
        f"{person.mean_e_n:+.2f}",
        str(person.beyond),
    )


def _variance(study: Comparison) -> str:
    found = study.gauge
    if found is None:
        return ""
    ratios = (
        *(("-", "-") if math.isnan(f) else (f"{f:.2f}", f"{p:.3g}") for f, p in found.f_and_p),
        ("", ""),
    )
    anova = [
        (s.name, str(s.dof), f"{s.ss:.4g}", f"{s.ms:.4g}", *ratio)
        for s, ratio in zip(found.table, ratios, strict=True)
    ]
    parts = [
        (
            c.name,
            f"{c.sd.value:.4f}",
            f"{c.sd.low:.4f} to {c.sd.high:.4f}",
            f"{c.variance.value / found.total:.1%}" if found.total > 0.0 else "-",
            "set to zero" if c.was_negative else "",
        )
        for c in found.components
    ]
    return _table(
        ("source", "degrees of freedom", "sum of squares mm²", "mean square mm²", "F", "p"), anova
    ) + _table(("share", "s mm", "95 % confidence mm", "of the variance", ""), parts)


def _checks(checks: Sequence[Check]) -> str:
    if not checks:
        return "<p>Nothing: all checks passed.</p>"
    rows = [(c.outcome, f"{c.message}. Source: {c.source}") for c in checks]
    return _table(("check", "what was found"), rows, text=True)


def _readings(study: Comparison) -> str:
    heads = (
        *("photo", "operator", "trial", "angle °", "d1 mm", "d2 mm", "image d1", "image d2"),
        *("difference mm", "E_n", "HBW", "image HBW"),
    )
    pairs = [(person, pair) for person in study.operators for pair in person.pairs]
    marks = ["beyond" if abs(pair.e_n) > 1.0 else "" for _, pair in pairs]
    return _table(heads, [_reading(person, pair) for person, pair in pairs], marks=marks)


def _reading(person: Operator, pair: Pair) -> tuple[str, ...]:
    human = pair.human
    return (
        *(human.photo, person.name, human.trial, f"{human.angle_deg:g}"),
        *(f"{human.d1_mm:.3f}", f"{human.d2_mm:.3f}"),
        *(f"{pair.image_d1_mm:.3f}", f"{pair.image_d2_mm:.3f}"),
        *(f"{pair.difference_mm:+.4f}", f"{pair.e_n:+.2f}"),
        *(f"{pair.hbw:.1f}", f"{pair.image_hbw:.1f}"),
    )


def _left_out(study: Comparison) -> str:
    if not study.unmatched:
        return ""
    rows = [(str(problem.line), problem.message) for problem in study.unmatched]
    return "<h2>Left out</h2>" + _table(("line", "why"), rows, text=True)


def _figure(name: str, study: Comparison) -> str:
    drawn = draw(name, study)
    if drawn is None:
        return ""
    caption = escape(FIGURES[name][0])
    picture = svg(drawn).replace("<svg ", f'<svg role="img" aria-label="{caption}" ', 1)
    return f"<figure>{_own_ids(picture, name)}<figcaption>{caption}</figcaption></figure>"


def _own_ids(picture: str, name: str) -> str:
    """Several SVG elements on one page must not share ids."""
    for mark in ('id="', 'href="#', "url(#"):
        picture = picture.replace(mark, f"{mark}{name}-")
    return picture


def _paragraphs(sentences: Iterable[str]) -> str:
    return "".join(f"<p>{escape(sentence)}</p>" for sentence in sentences)


def _table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    *,
    marks: Sequence[str] = (),
    text: bool = False,
) -> str:
    kind = ' class="text"' if text else ""
    head = "".join(f"<th{kind}>{escape(cell)}</th>" for cell in heads)
    lines = []
    for index, row in enumerate(rows):
        mark = f' class="{marks[index]}"' if marks and marks[index] else ""
        cells = "".join(f"<td{kind}>{escape(cell)}</td>" for cell in row)
        lines.append(f"<tr{mark}>{cells}</tr>")
    body = "".join(lines)
    return (
        f'<div class="wide"><table><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )
