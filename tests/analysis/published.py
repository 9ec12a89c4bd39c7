"""Data sets of the literature that several checks use: facts of published studies, each with its source."""

from pathlib import Path

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

# Avery & Henderson 1999, Appl. Stat. 48:53 (from memory): rain on Alofi on 1,096 days in a row; 0 none, 1 up to 5 mm, 2
# more. As in R's markovchain::rain.
RAIN = (
    "2111111222100012210021102210100221100010111120100121120000000222211020001011020200001012000022211000010000101000"
    "2100010101110102111122220012100000111201111010010000010000221000001001000100010000211000000000011100022101000000"
    "2100000100100010000000000000000000000000011000121020000020000000002000000012100010000102000000000000002200011112"
    "2220000000122100101102222212000000100000100221001000021011112102011021000012211012001122000022100101001100001010"
    "0001022212222222010000111100000222100222110202001000000211011222222211211221001100010011000000012021121111111100"
    "1022221100011200000122210000100000111220000000000000100102222000001000002212120222221222000220000221112011200112"
    "1022112210211122101222120210200022011112100221002100121001222222222222122021001211102010000221222210122222222122"
    "1001001000010011000101221221110011221212120122111222102212202220011122122112210001000000000001201000120110111220"
    "1022000100001010121000000200100010000101000011000010000000000010000011000000000010000010000110001000002101000001"
    "0012001000101021212221221010000022011210012200101201022222202200000110210000220000010221"
)


def published(name: str) -> pd.DataFrame:
    """One of the tables beside this file, as R's packages have it (survival, KMsurv, lme4, datasets)."""
    return pd.read_csv(Path(__file__).with_name(f"{name}.csv"))


def lung() -> pd.DataFrame:
    """Loprinzi et al. 1994, J. Clin. Oncol. 12:601-607: 228 patients with advanced lung cancer, days to death; five
    columns of R's survival::lung (inst: the hospital; sex 1 men, 2 women; status 1 died)."""
    table = published("lung")
    return table.assign(latency_s=table["time"].astype(float), occurred=table["status"] == 1)


# Three males, four females, one session each: invented here, answers computed with R's survival 3.5-3.
THREE_MALES = pd.DataFrame(
    {
        "latency_s": [120, 300, 95, 410, 240, 600, 180, 600, 60, 150, 88, 200.0],
        "occurred": [True, True, True, True, True, False, True, False, True, True, True, True],
        "male": ["A"] * 4 + ["B"] * 4 + ["C"] * 4,
        "female": ["f1", "f2", "f3", "f4"] * 3,
    }
)
