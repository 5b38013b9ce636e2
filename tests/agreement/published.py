"""Data and results from outside, each with its source."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import scipy

# -- NIST/ITL Statistical Reference Datasets, analysis of variance --------------------------------
# https://www.itl.nist.gov/div898/strd/anova/anova.html (public domain), read in the copies among
# SciPy's tests. The two small sets of observed data are here too, because some builds of SciPy
# leave their tests out.

NIST_FOLDER = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"
NIST_NAMES = (
    *("SiRstv", "SmLs01", "SmLs02", "SmLs03", "AtmWtAg", "SmLs04", "SmLs05", "SmLs06"),
    *("SmLs07", "SmLs08", "SmLs09"),
)

_SIRSTV = (
    (196.3052, 196.1240, 196.1890, 196.2569, 196.3403),
    (196.3042, 196.3825, 196.1669, 196.3257, 196.0422),
    (196.1303, 196.2005, 196.2889, 196.0343, 196.1811),
    (196.2795, 196.1748, 196.1494, 196.1485, 195.9885),
    (196.2119, 196.1051, 196.1850, 196.0052, 196.2090),
)
_ATMWTAG = (
    (
        107.8681568,
        107.8681465,
        107.8681572,
        107.8681785,
        107.8681446,
        107.8681903,
        107.8681526,
        107.8681494,
        107.8681616,
        107.8681587,
        107.8681519,
        107.8681486,
        107.8681419,
        107.8681569,
        107.8681508,
        107.8681672,
        107.8681385,
        107.8681518,
        107.8681662,
        107.8681424,
        107.8681360,
        107.8681333,
        107.8681610,
        107.8681477,
    ),
    (
        107.8681079,
        107.8681344,
        107.8681513,
        107.8681197,
        107.8681604,
        107.8681385,
        107.8681642,
        107.8681365,
        107.8681151,
        107.8681082,
        107.8681517,
        107.8681448,
        107.8681198,
        107.8681482,
        107.8681334,
        107.8681609,
        107.8681101,
        107.8681512,
        107.8681469,
        107.8681360,
        107.8681254,
        107.8681261,
        107.8681450,
        107.8681368,
    ),
)
NIST_EMBEDDED = {
    # groups; certified sums of squares between and within, F, residual standard deviation
    "SiRstv": (
        _SIRSTV,
        (5.11462616000000e-02, 2.16636560000000e-01, 1.18046237440255e00, 1.04076068334656e-01),
    ),
    "AtmWtAg": (
        _ATMWTAG,
        (3.63834187500000e-09, 1.04951729166667e-08, 1.59467335677930e01, 1.51048314446410e-05),
    ),
}


def nist_file(name: str) -> tuple[list[np.ndarray], dict[str, float]]:
    """Groups and certified values of a NIST file."""
    path = NIST_FOLDER / f"{name}.dat"
    lines = path.read_text(encoding="ascii").splitlines()
    words = [line.split() for line in lines[40:48] if line.strip()]
    between, within = words[0], words[1]
    label, value = np.loadtxt(path, skiprows=60).T
    certified = {
        "between": float(between[-3]),
        "f": float(between[-1]),
        "within": float(within[-2]),
        "sd": float(words[-1][-1]),
    }
    return [value[label == k] for k in np.unique(label)], certified


# -- Bland and Altman, Lancet 327 (1986) 307, table 1 ---------------------------------------------
# Peak expiratory flow in l/min of 17 subjects, two readings with each of two meters; read in
# transcriptions in public repositories (the R data set bland.altman.PEFR and others), which agree.

LARGE_FIRST = (
    *(494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427),
)
LARGE_SECOND = (
    *(490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421),
)
MINI_FIRST = (
    *(512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451),
)
MINI_SECOND = (
    *(525, 415, 508, 444, 500, 625, 460, 390, 642, 432, 420, 605, 227, 467, 268, 370, 443),
)

# -- AIAG, Measurement Systems Analysis, 4th edition: the worked gauge study ----------------------
# 10 parts, 3 appraisers, 3 trials, and the printed sums of squares; read in transcriptions in
# public repositories, which agree. The manual itself was not read.

GAUGE_STUDY = np.array(
    [
        [
            [0.29, -0.56, 1.34, 0.47, -0.80, 0.02, 0.59, -0.31, 2.26, -1.36],
            [0.41, -0.68, 1.17, 0.50, -0.92, -0.11, 0.75, -0.20, 1.99, -1.25],
            [0.64, -0.58, 1.27, 0.64, -0.84, -0.21, 0.66, -0.17, 2.01, -1.31],
        ],
        [
            [0.08, -0.47, 1.19, 0.01, -0.56, -0.20, 0.47, -0.63, 1.80, -1.68],
            [0.25, -1.22, 0.94, 1.03, -1.20, 0.22, 0.55, 0.08, 2.12, -1.62],
            [0.07, -0.68, 1.34, 0.20, -1.28, 0.06, 0.83, -0.34, 2.19, -1.50],
        ],
        [
            [0.04, -1.38, 0.88, 0.14, -1.46, -0.29, 0.02, -0.46, 1.77, -1.49],
            [-0.11, -1.13, 1.09, 0.20, -1.07, -0.67, 0.01, -0.56, 1.45, -1.77],
            [-0.15, -0.96, 0.67, 0.11, -1.45, -0.49, 0.21, -0.49, 1.87, -2.16],
        ],
    ]
).transpose(2, 0, 1)  # parts, appraisers, trials
GAUGE_SUMS_OF_SQUARES = (88.3619, 3.1673, 0.3590, 2.7589)
"""Parts, appraisers, appraisers × parts, equipment."""
