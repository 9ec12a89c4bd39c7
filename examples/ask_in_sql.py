"""Ask an exported season in SQL: `python examples/ask_in_sql.py [WORKSPACE]`. Needs `pip install duckdb`.

DuckDB reads the Parquet files where they lie and takes no more memory than it is given, so the same question can be
asked of a hundred million bouts.
"""

import sys
import tempfile
from pathlib import Path

import duckdb

import etholog
from etholog.export import folder

workspace = sys.argv[1] if len(sys.argv) > 1 else Path(__file__).parent / "season"
with tempfile.TemporaryDirectory() as place:
    folder.write(etholog.read(workspace), f"{place}/tables", also=("parquet",))
    seconds_by_palp = duckdb.sql(f"""
        select male, qualifier as palp, count(*) as insertions, round(sum(duration_s), 1) as seconds
        from '{place}/tables/parquet/bouts/*/*.parquet'
        where behaviour = 'insertion'
        group by male, palp
        order by male, palp
    """)
    print(seconds_by_palp.df().to_string(index=False))
