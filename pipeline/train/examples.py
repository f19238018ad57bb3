"""Which cured jobs are learned from: all, or the newest of very many."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.store.database import Database

FEWEST = 20  # cured jobs without which nothing is learned
MOST = 60_000  # about 100,000 visits; more took minutes and gigabytes, and older jobs say least of tomorrow's


def examples(database: Database) -> pd.DataFrame:
    """Training jobs, oldest cure first; the newest ``MOST`` where there are more."""
    newest = "select episode_id from cause_example order by cure_date desc, episode_id desc limit ?"
    query = f"select * from cause_example where episode_id in ({newest}) order by cure_date, episode_id"
    jobs: pd.DataFrame = database.connection.execute(query, [MOST]).df()
    return jobs


def left_out(database: Database) -> int:
    """How many older cured jobs are not learned from."""
    ((jobs,),) = database.connection.execute("select count(*) from cause_example").fetchall()
    return max(int(jobs) - MOST, 0)
