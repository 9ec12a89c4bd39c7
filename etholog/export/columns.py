"""What each column of an export means: its type, its unit, and a sentence. The types are those of Table Schema."""

from typing import NamedTuple


class Column(NamedTuple):
    """A column's type (Frictionless Table Schema), what it says, and its unit where it has one."""

    type: str
    about: str
    unit: str | None = None


_BOUT = "bouts of states whose end was seen count as whole, others as right-censored"

# A session's own columns: whatever else stands in that table is a condition or an answer of the observer's.
_SESSION = {
    "session": Column("string", "The session's name, which is its file's name too."),
    "date": Column("date", "The day on which it began, by the clock on the wall there."),
    "began": Column("datetime", "The instant of t = 0, in UTC."),
    "utc_offset_min": Column("integer", "How far the clock on the wall stood ahead of UTC.", "min"),
    "male": Column("string", "The male's name."),
    "female": Column("string", "The female's name."),
    "species": Column("string", "The species, as the observer gave it."),
    "observer": Column("string", "Who watched."),
    "place": Column("string", "Where."),
    "source": Column("string", "Where the marks come from: live, a film, or invented."),
    "length_s": Column("number", "From the first second to the last.", "s"),
    "watched_s": Column("number", "The length less the gaps, in which nobody watched.", "s"),
    "out_of_sight_s": Column("number", "Time in which the male or the female could not be seen.", "s"),
    "marks": Column("integer", "Marks in force, after all corrections."),
    "closed": Column("boolean", "Whether the observer ended the session; if not, it was broken off."),
    "ethogram": Column("string", "The ethogram's name."),
    "ethogram_id": Column("string", "The ethogram's name and the start of its SHA-256: two that differ have two ids."),
}

COLUMNS = _SESSION | {
    # the ethogram
    "ethogram_version": Column("string", "The version that its author gave it."),
    "ethogram_sha256": Column("string", "The SHA-256 of all it says."),
    "behaviour": Column("string", "The behaviour's code."),
    "label": Column("string", "In words."),
    "actor": Column("string", "Whose behaviour it is: male, female, pair or keeper."),
    "kind": Column("string", "event: no duration worth timing. state: it has one."),
    "definition": Column("string", "The operational definition."),
    "definition_source": Column("string", "Where the definition comes from."),
    "chain": Column("string", "Of the behaviours of one chain only one can run at a time."),
    "stage": Column("string", "The stage of a pairing that it belongs to."),
    "qualifier_means": Column("string", "What the qualifier tells."),
    "choices": Column("string", "The values that the qualifier can have, with ; between."),
    "ends": Column("string", "What its onset ends, or what makes an interval's end impossible, with ; between."),
    "within": Column("string", "The state inside which alone it makes sense."),
    "resembles": Column("string", "The behaviour that it is easily taken for."),
    "hides": Column("boolean", "Whether its actor can't be seen meanwhile."),
    "nbo": Column("string", "The nearest broader term of the Neuro Behavior Ontology."),
    "nbo_iri": Column("string", "That term's address (NBO release 2023-07-04)."),
    "nbo_match": Column("string", "How the two are related: the ontology's term is the broader one (SKOS)."),
    "role": Column("string", "What it is to the measures; `etholog help files` tells what each role means."),
    "interval": Column("string", "The name of a latency that the ethogram defines."),
    "since": Column("string", "From the first of these, with ; between; none: the session's start."),
    "to": Column("string", "To the first of these after it, with ; between."),
    # bouts and marks
    "n": Column("integer", "The number of the record in the session's journal."),
    "qualifier": Column("string", "What the mark adds to its code: which palp, which side."),
    "onset_s": Column("number", "When it began, since the session began.", "s"),
    "offset_s": Column("number", "When it ended, since the session began; an event ends as it begins.", "s"),
    "duration_s": Column("number", "offset_s less onset_s.", "s"),
    "whole": Column("boolean", "FALSE where a gap or the session's end cut it."),
    "confident": Column("boolean", "Whether the observer was sure."),
    "why": Column("string", "Why nobody watched."),
    "record": Column("string", "What kind of record: mark, undo, move, recode, doubt, note, gap ..."),
    "at_s": Column("number", "When it was recorded, or where a move puts a record, since the session began.", "s"),
    "edge": Column("string", "Of a state's mark: onset or offset."),
    "said": Column("string", "A note's text, a stray key, why a gap began, a prompt's name, what a clock did."),
    "amends": Column("integer", "The number of the record that this one corrects, or that a note is about."),
    "in_force": Column("boolean", "FALSE where the observer took it back."),
    "stands_at_s": Column("number", "When it counts, after all moves.", "s"),
    "stands_behaviour": Column("string", "What it counts as, after all recodings."),
    "stands_qualifier": Column("string", "Its qualifier, after all recodings."),
    # cards
    "animal": Column("string", "Whose card it is."),
    "entry": Column("string", "What kind of entry: moult, meal, sperm_web, sac ..."),
    "on": Column("string", "The date as it was told; 2026-03 or 2026 where no more is known."),
    "first_on": Column("date", "The first day that it may mean."),
    "last_on": Column("date", "The last day that it may mean."),
    "sure": Column("boolean", "Whether the keeper was sure."),
    "words": Column("string", "What it says: a size, a name, an id."),
    "number": Column("number", "What it counts or weighs: weight in g, size in mm, sign and count as told."),
    "note": Column("string", "What else there was to say."),
    "card": Column("string", "On whose card it stands: another name of the animal's, where two cards were joined."),
    "sac": Column("string", "Of which sac it is told, where the keeper said so: the day of that sac."),
    # animals, who comes from whom, lots
    "sex": Column("string", "male, female or unknown."),
    "form": Column("string", "The locality or form of the line, as the card has it."),
    "born": Column("string", "When it was born, as written."),
    "died": Column("string", "When it died, as written, or the day of the session that he did not survive."),
    "parent": Column("string", "A possible parent."),
    "as": Column("string", "What that one is to it: dam or sire."),
    "chance": Column("number", "How likely that is by the cards: 1 where nobody else may be.", "1"),
    "lot": Column("string", "What the young of a sac are called together: their dam, and the day of the sac."),
    "dam": Column("string", "Their mother."),
    "sires": Column("string", "All males that may be the sire, with ; between."),
    "sac_on": Column("string", "When the sac was laid, as written."),
    "eaten_on": Column("string", "When she ate it."),
    "pulled_on": Column("string", "When it was taken from her."),
    "opened_on": Column("string", "When it was opened."),
    "incubated_c": Column("number", "At what temperature it was kept, as told last.", "°C"),
    "first_counted": Column("number", "How many the first count had: alive + dead + placed + raised + missing."),
    "laid": Column("boolean", "Whether that first count was of eggs."),
    "alive": Column("number", "How many live and are here."),
    "dead": Column("number", "How many died, or were infertile."),
    "placed": Column("number", "How many went to others."),
    "raised": Column("number", "How many have a card of their own now."),
    "missing": Column("number", "How many nobody told of; below 0: so many too many were counted."),
    "rests_on": Column("string", "On what it rests that sperm was transferred."),
    # measures
    "latency_s": Column("number", "Until the behaviour, or until the watching ended, gaps not counted.", "s"),
    "occurred": Column("boolean", "Whether the behaviour came; if not, the latency is right-censored."),
    "ended_by": Column("string", "Why the latency ended."),
    "sessions": Column("integer", "In how many sessions it came."),
    "count": Column("integer", "Bouts, events or transitions."),
    "cut": Column("integer", "Bouts whose end nobody saw."),
    "total_s": Column("number", "All its bouts together.", "s"),
    "share": Column("number", "total_s as a share of the time watched.", "1"),
    "median_s": Column("number", f"Median length of a bout of a male taken at random (Kaplan-Meier: {_BOUT}).", "s"),
    "median_low_s": Column("number", "Lower 95 % limit of the median.", "s"),
    "median_high_s": Column("number", "Upper 95 % limit of the median.", "s"),
    "per_hour": Column("number", "count by hour in which its actor was watched and in sight.", "1/h"),
    "per_hour_low": Column("number", "Lower 95 % limit of the rate; males and females vary.", "1/h"),
    "per_hour_high": Column("number", "Upper 95 % limit of the rate; males and females vary.", "1/h"),
    "whose": Column("string", "Whose behaviours are followed: all, or those of one actor alone."),
    "first": Column("string", "The behaviour that came first."),
    "next": Column("string", "The behaviour that came next."),
    "probability": Column("number", "Of all that followed `first`, the share that was `next`.", "1"),
    "expected": Column("number", "The count expected by chance (quasi-independence)."),
    "residual": Column("number", "Adjusted residual (Haberman 1973): over 2 is more often than chance."),
    "p_holm": Column(
        "number", "Two-sided p of the residual, adjusted for all cells by Holm 1979; none where `few`.", "1"
    ),
    "few": Column("boolean", "Whether fewer than 5 were expected, so that the residual and its p mean little."),
}

# Terms of Darwin Core (TDWG) that a deposit has for columns; what they say is told in our own words.
DARWIN = {
    "organismID": Column("string", "The animal's name."),
    "organismScope": Column("string", "That a row is one animal."),
    "sex": Column("string", "male, female or undetermined."),
    "scientificName": Column("string", "The species, as it was told."),
    "basisOfRecord": Column("string", "That it is a living animal, kept."),
    "eventID": Column("string", "The session's name."),
    "eventType": Column("string", "What it was."),
    "eventDate": Column("string", "The day on which it began, by the clock on the wall there."),
    "samplingProtocol": Column("string", "How it was recorded."),
    "samplingEffort": Column("string", "How long somebody watched."),
    "associatedOrganisms": Column("string", "Who took part."),
    "resourceRelationshipID": Column("string", "What this relationship is called."),
    "resourceID": Column("string", "The parent."),
    "relatedResourceID": Column("string", "The young."),
    "relationshipOfResource": Column("string", "What the parent is to the young."),
    "relationshipRemarks": Column("string", "Whether that is certain."),
    "term": Column("string", "The term of Darwin Core."),
    "term_iri": Column("string", "That term's address."),
    "match": Column("string", "How our column is related to it (SKOS)."),
    "table": Column("string", "Our table."),
    "column": Column("string", "Our column."),
}
DARWIN_TABLES = ("organisms", "events", "relationships", "darwin_core")

TABLES = {
    "sessions": "One row for each introduction of a male to a female. Further columns are the conditions and the "
    "answers of the outcome form, as the observers gave them.",
    "bouts": "One row for each bout of a state and each event, after all corrections.",
    "marks": "One row for each record of each journal, corrections and what they correct alike: the whole history.",
    "gaps": "Spans in which nobody watched.",
    "latencies": "For each interval of the ethograms, one row for each session in which it could begin.",
    "durations": "For each session, how often and how long each behaviour came.",
    "transitions": "What followed what, all sessions together, and what chance would give.",
    "cards": "One row for each entry of each animal's card, what was taken back left out.",
    "animals": "One row for each animal that is known of.",
    "pedigree": "One row for each possible parent of an animal.",
    "lots": "One row for each sac: whose, what became of it, how many young, and whether the numbers close.",
    "ethogram": "One row for each behaviour of each ethogram that the sessions were recorded by.",
    "intervals": "The latencies that those ethograms define.",
    "organisms": "In a deposit: one row for each animal, in terms of Darwin Core.",
    "events": "In a deposit: one row for each session, in terms of Darwin Core.",
    "relationships": "In a deposit: one row for each possible parent of an animal, in terms of Darwin Core.",
    "darwin_core": "In a deposit: which of our columns mean which term of Darwin Core.",
}

KEYS = {
    "sessions": ["session"],
    "bouts": ["session", "n"],
    "marks": ["session", "n"],
    "gaps": ["session", "onset_s"],
    "latencies": ["interval", "session"],
    "transitions": ["whose", "first", "next"],
    "ethogram": ["ethogram_id", "behaviour"],
    "intervals": ["ethogram_id", "interval"],
    "cards": ["animal", "card", "n"],
    "animals": ["animal"],
    "pedigree": ["animal", "as", "parent"],
    "organisms": ["organismID"],
    "events": ["eventID"],
    "relationships": ["resourceRelationshipID"],
    "darwin_core": ["table", "column"],
}

# Which columns of which table are to be found in which columns of another.
POINTS_TO: dict[str, list[tuple[list[str], str]]] = {
    "bouts": [(["session"], "sessions"), (["ethogram_id", "behaviour"], "ethogram")],
    "marks": [(["session"], "sessions")],
    "gaps": [(["session"], "sessions")],
    "latencies": [(["session"], "sessions")],
    "durations": [(["session"], "sessions")],
    "pedigree": [(["animal"], "animals")],
}


def described(table: str, name: str) -> Column | None:
    """Return what a column means; None where it is the observers' own."""
    if table == "ethogram" and name == "source":
        return COLUMNS["definition_source"]
    if table in DARWIN_TABLES:
        return DARWIN.get(name)
    return (_SESSION if table == "sessions" else COLUMNS).get(name)
