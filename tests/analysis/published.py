"""Data sets of the literature that several checks use."""

import numpy as np
import pandas as pd

# Freireich et al. 1963, Blood 21:699-716: weeks of remission, 21 pairs; + = censored. As in R's KMsurv::drug6mp.
PLACEBO = "1 22 3 12 8 17 2 11 8 12 2 5 4 15 8 23 5 11 4 1 8"
SIX_MP = "10 7 32+ 23 22 6 16 34+ 32+ 25+ 11+ 20+ 19+ 6 17+ 35+ 6 13 9+ 6+ 10+"


def censored(text: str) -> tuple[np.ndarray, np.ndarray]:
    words = text.split()
    return np.array([float(w.rstrip("+")) for w in words]), np.array([not w.endswith("+") for w in words])


def remissions() -> pd.DataFrame:
    frames = []
    for group, text in (("6-MP", SIX_MP), ("placebo", PLACEBO)):
        time, occurred = censored(text)
        frames.append(
            pd.DataFrame({"latency_s": time, "occurred": occurred, "drug": group, "pair": np.arange(len(time))})
        )
    return pd.concat(frames, ignore_index=True)


# Miller 1981, Survival Analysis: weeks of remission in acute myelogenous leukaemia, as R's survival::aml (the data
# from memory; they give R's numbers).
MAINTAINED = "9 13 13+ 18 23 28+ 31 34 45+ 48 161+"
NOT_MAINTAINED = "5 5 8 8 12 16+ 23 27 30 33 43 45"

# Bland & Altman 2004, BMJ 328:1073, 51 patients with glioma: from memory, but it gives the note's expectations.
ASTROCYTOMA = "6 13 21 30 31+ 37 38 47+ 49 50 63 79 80+ 82+ 82+ 86 98 149+ 202 219"
GLIOBLASTOMA = "10 10 12 13 14 15 16 17 18 20 24 24 25 28 30 33 34+ 35 37 40 40 40+ 46 48 70+ 76 81 82 91 112 181"

# Bland & Altman 1998, BMJ 317:1572, 38 women, months to conception: the data partly from memory.
CONCEPTION = "1 1 1 1 1 1 2 2 2 2 2 3 3 3 4 4 4 6 6 9 9 9 10 13 16 2+ 3+ 4+ 7+ 7+ 8+ 8+ 9+ 9+ 9+ 11+ 24+ 24+"

# Three males, four females, one session each: invented here, answers computed with R's survival 3.5-3.
THREE_MALES = pd.DataFrame(
    {
        "latency_s": [120, 300, 95, 410, 240, 600, 180, 600, 60, 150, 88, 200.0],
        "occurred": [True, True, True, True, True, False, True, False, True, True, True, True],
        "male": ["A"] * 4 + ["B"] * 4 + ["C"] * 4,
        "female": ["f1", "f2", "f3", "f4"] * 3,
    }
)
