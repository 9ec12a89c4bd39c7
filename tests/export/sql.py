"""etholog's measures once more, in SQL over the exported Parquet alone."""

from pathlib import Path

import duckdb


def open_tables(connection: duckdb.DuckDBPyConnection, folder: Path) -> None:
    """Make a view of every table of an export's `parquet` folder."""
    for path in folder.iterdir():
        inside = path / "*" / "*.parquet" if path.is_dir() else path
        connection.execute(f"create view \"{path.stem}\" as from read_parquet('{inside}')")


# From the first of `since` (none: the session's start) to the first of `to` at or after it, less the gaps between.
LATENCIES = """
with named as (
    select session, onset_s, behaviour as name from bouts
    union all
    select session, onset_s, behaviour || ':' || qualifier from bouts where qualifier is not null
), starts as (
    select interval, "to", session, length_s, if(since is null, 0, min(onset_s)) as start_s
    from intervals cross join sessions
    left join named n using (session)
    where since is null or list_contains(string_split(since, ';'), n.name)
    group by interval, since, "to", session, length_s
), found as (
    select interval, starts.session, start_s, length_s, min(onset_s) as hit_s
    from starts left join named n
    on n.session = starts.session and n.onset_s >= start_s and list_contains(string_split("to", ';'), n.name)
    group by interval, starts.session, start_s, length_s
)
select interval, f.session, hit_s is not null as occurred,
    coalesce(hit_s, length_s) - start_s - coalesce((
        select sum(greatest(0, least(g.offset_s, coalesce(hit_s, length_s)) - greatest(g.onset_s, start_s)))
        from gaps g where g.session = f.session
    ), 0) as latency_s
from found f
"""

DURATIONS = """
with watched as (select male, sum(watched_s) as watched_s from sessions group by male)
select male, actor, behaviour, qualifier, count(distinct session) as sessions, count(*) as count,
    count(*) filter (not whole) as cut,
    if(any_value(kind) = 'state', sum(duration_s), null) as total_s,
    if(any_value(kind) = 'state', sum(duration_s) / any_value(watched_s), null) as share
from bouts join watched using (male)
group by male, actor, behaviour, qualifier
"""

# A chain of onsets breaks at the end of a gap and where an animal goes out of sight.
TRANSITIONS = """
with breaks as (
    select session, onset_s, n, actor, behaviour, hides
    from bouts join (select ethogram_id, behaviour, hides from ethogram) using (ethogram_id, behaviour)
    union all
    select session, offset_s, -1, null, null, true from gaps
), stretches as (
    select *,
        -- one actor's sequence is broken by that one's going out of sight
        sum((hides and coalesce($actor is null or actor = $actor, true))::int)
            over (partition by session order by onset_s, n) as stretch
    from breaks
), chains as (
    select *, lag(behaviour) over chain as before from stretches
    where not hides and ($actor is null or actor = $actor)
    window chain as (partition by session, stretch order by onset_s, n)
), kept as (
    select behaviour as first, lead(behaviour) over (partition by session, stretch order by onset_s, n) as next
    from chains where $repeats or before is distinct from behaviour
)
select first, next, count(*) from kept where next is not null group by first, next
"""
