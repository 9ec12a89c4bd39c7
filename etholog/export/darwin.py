"""Animals, sessions and parents in the terms of Darwin Core (TDWG, http://www.tdwg.org/standards/450), and which of our
own columns mean what there. Beside our tables, not in their place: the standard has no words for bouts."""

from typing import Any

import pandas as pd

from etholog.analysis.lineage import lineage
from etholog.season import Season, began_there

TERMS = "http://rs.tdwg.org/dwc/terms/"
# Our table and column, the term, and how close it is (SKOS: the same, or the term is the broader one).
MAPPING = (
    ("sessions", "session", "eventID", "exact"),
    ("sessions", "date", "eventDate", "exact"),
    ("sessions", "place", "locality", "exact"),
    ("sessions", "observer", "recordedBy", "exact"),
    ("sessions", "species", "scientificName", "close"),
    ("sessions", "ethogram", "samplingProtocol", "broad"),
    ("sessions", "watched_s", "samplingEffort", "broad"),
    ("bouts", "session", "eventID", "exact"),
    ("bouts", "behaviour", "behavior", "exact"),
    ("marks", "session", "eventID", "exact"),
    ("marks", "said", "fieldNotes", "broad"),
    ("cards", "animal", "organismID", "exact"),
    ("cards", "on", "eventDate", "exact"),
    ("cards", "entry", "eventType", "broad"),
    ("cards", "note", "eventRemarks", "exact"),
    ("ethogram", "behaviour", "behavior", "exact"),
)
_OF = {"dam": "mother of", "sire": "father of"}


def mapping() -> pd.DataFrame:
    """Return which column means which term: table, column, term, term_iri, match."""
    rows = [
        (table, column, f"dwc:{term}", TERMS + term, f"skos:{match}Match") for table, column, term, match in MAPPING
    ]
    return pd.DataFrame(rows, columns=["table", "column", "term", "term_iri", "match"])


def tables(season: Season) -> dict[str, pd.DataFrame]:
    """Return the tables organisms, events and relationships, each column named by its term.

    Each possible parent is a relationship, with its chance among the remarks where there are several.
    """
    known = season.animals
    met = {str(name) for sex in ("male", "female") for name in season.sessions[sex]}
    names = sorted(({known.id_of(name) for name in met} | {*known.cards}) - {""})
    lines = lineage(known, names)
    once = lines.drop_duplicates("animal")
    organisms = pd.DataFrame(
        {
            "organismID": once["animal"],
            "organismScope": "individual",
            "sex": once["sex"].replace("unknown", "undetermined"),
            "scientificName": once["species"],
            "basisOfRecord": "LivingSpecimen",
        }
    )
    return {
        "organisms": organisms.reset_index(drop=True),
        "events": _events(season),
        "relationships": _relationships(lines),
    }


def _events(season: Season) -> pd.DataFrame:
    sessions = season.sessions
    return pd.DataFrame(
        {
            "eventID": sessions["session"].astype(str),
            "eventType": "pairing",
            "eventDate": began_there(sessions).dt.date.astype(str),
            "samplingProtocol": "continuous recording of a focal pair by the ethogram "
            + sessions["ethogram"].astype(str),
            "samplingEffort": [f"{seconds:g} s watched" for seconds in sessions["watched_s"].round(3)],
            "associatedOrganisms": [
                f"male: {male}; female: {female}"
                for male, female in zip(sessions["male"], sessions["female"], strict=True)
            ],
        }
    )


def _relationships(lines: pd.DataFrame) -> pd.DataFrame:
    told = lines[lines["parent"] != ""]
    rows: list[dict[str, Any]] = [
        {
            "resourceRelationshipID": f"{row['parent']}/{row['as']}/{row['animal']}",
            "resourceID": row["parent"],
            "relatedResourceID": row["animal"],
            "relationshipOfResource": _OF[row["as"]],
            "relationshipRemarks": "; ".join(
                [f"one of several, with a chance of {row['chance']:g}"] * (row["chance"] < 1)
                + ["marked as not certain"] * (not row["sure"])
            ),
        }
        for row in told.to_dict("records")
    ]
    columns = [
        "resourceRelationshipID", "resourceID", "relatedResourceID", "relationshipOfResource", "relationshipRemarks",
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)
