# %% [markdown]
# # A season, from files to answers
#
# The animals and evenings are invented. Run the cells one by one in an editor that knows `# %%`, or all of them:
# `python examples/walkthrough.py`.

# %%
from pathlib import Path

import etholog

season = etholog.read(Path(__file__).parent / "season")
print(f"{len(season.sessions)} sessions, {len(season.bouts)} bouts, {len(season.findings)} findings")

# %% [markdown]
# ## How long until he courts?
#
# One row a session. Where he never courted, the latency is censored at the end of the watching: it says "longer than
# this", and counts for that.

# %%
times = etholog.latency(season, "courtship")
print(times[["male", "female", "latency_s", "occurred"]].head(5).to_string(index=False))
print(f"{int((~times['occurred']).sum())} of {len(times)} never courted while somebody watched")

# %% [markdown]
# ## Do the males differ?
#
# Compared within each female, since some females are harder to please. The smallest p that so few sessions could have
# given stands in the sentence: where it is large, no difference could have been shown.

# %%
found = etholog.compare(times, by="male", within="female")
print(found.table[["n", "occurred", "median_s"]].round(1).to_string())
print(found.sentence)

# %% [markdown]
# ## How is the time spent?

# %%
spans = etholog.duration(season, by="male")
courting = spans[spans["behaviour"].isin(["drumming", "vibration", "leg_tapping"])]
print(courting.groupby("male", observed=True)["share"].sum().map("{:.1%}".format).to_string())

# %% [markdown]
# ## What follows what?

# %%
steps = etholog.transition(season, actor="male").long()
print(steps.head(5)[["first", "next", "count", "probability"]].round(2).to_string(index=False))

# %% [markdown]
# ## The same with tables of your own
#
# Measures take any table with the right columns. Here are the remission times in weeks of 42 patients with leukaemia
# (Freireich et al. 1963, Blood 21: 699), which many textbooks use: 6-MP against placebo.

# %%
import pandas as pd  # noqa: E402

treated = [6, 6, 6, 7, 10, 13, 16, 22, 23, 6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
placebo = [1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23]
patients = pd.DataFrame(
    {
        "latency_s": treated + placebo,
        "occurred": [True] * 9 + [False] * 12 + [True] * 21,
        "given": ["6-MP"] * 21 + ["placebo"] * 21,
    }
)
remissions = etholog.compare(patients, by="given")
print(remissions.table[["n", "occurred", "median_s"]].to_string())
print(f"log-rank chi-squared {remissions.statistic:.2f}")

# %% [markdown]
# ## Pictures

# %%
etholog.figures.survival(times, by="male").savefig("courtship.svg")
etholog.figures.transitions(etholog.transition(season, actor="male")).savefig("transitions.png")
