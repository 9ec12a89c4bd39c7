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
with asked as (
    select interval, since, "to", split_part(name, ':', 1) as code, nullif(split_part(name, ':', 2), '') as choice, edge
    from (
        select *, unnest(string_split(since, ';')) as name, 'since' as edge from intervals where since is not null
        union all
        select *, unnest(string_split("to", ';')) as name, 'to' as edge from intervals
    )
), seen as (
    select interval, edge, session, onset_s
    from bouts join asked on behaviour = code and (choice is null or qualifier = choice)
), starts as (
    select interval, session, min(onset_s) as start_s from seen where edge = 'since' group by interval, session
    union all
    select interval, session, 0 from intervals cross join sessions where since is null
), found as (
    select interval, session, any_value(start_s) as start_s, min(onset_s) filter (onset_s >= start_s) as hit_s
    from starts left join (select * from seen where edge = 'to') using (interval, session)
    group by interval, session
), ends as (
    select interval, session, start_s, hit_s is not null as occurred, coalesce(hit_s, length_s) as stop_s
    from found join sessions using (session)
), lost as (
    select interval, e.session, sum(greatest(0, least(offset_s, stop_s) - greatest(onset_s, start_s))) as lost_s
    from ends e join gaps g on g.session = e.session group by interval, e.session
)
select interval, session, occurred, stop_s - start_s - coalesce(lost_s, 0) as latency_s
from ends left join lost using (interval, session)
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
