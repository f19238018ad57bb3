"""How long the core and the marts take over a large made-up history, against DuckDB's bare scan of the visit table.

And how long it takes to bring them up to date after one visit more, to a unit that was there, on a new day.

Run: python -m tests.benchmarks.speed.marts [VISITS]   (1,000,000 by default; two threads)
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import duckdb

import sql
from sql.refresh import refreshed

SYNTHETIC = """
create temp table drawn as
select
    i as visit_id,
    cast(floor(random() * {units}) as bigint) as unit,
    date '2016-01-01' + cast(floor(random() * 3650) as integer) as first_day,
    random() as chance,
    random() as with_part
from range(1, {visits} + 1) as series(i);

-- a third of the visits come some days after another visit of their unit
create temp table placed as
select
    visit_id,
    unit,
    case
        when chance < 0.33
        then coalesce(lag(first_day) over (partition by unit order by first_day, visit_id), first_day)
            + cast(floor(chance * 120) as integer)
        else first_day
    end as visit_date,
    chance,
    with_part
from drawn;

insert into stage_visit by name
select
    visit_id,
    visit_id as record_id,
    visit_date,
    'kind ' || (unit % 8) as kind,
    'J' || cast(case when chance < 0.1 then visit_id - 1 else visit_id end as varchar) as job_no,
    md5(cast(unit as varchar)) as customer_hash,
    'make ' || (unit % 12) as make,
    'model ' || (unit % 300) as model,
    'family ' || (unit % 60) as model_family,
    case when unit % 10 < 7 then 'S' || cast(unit as varchar) end as serial,
    round(random() * 14, 1) as age_years,
    'complaint text of visit ' || visit_id as complaint,
    'water left=no; filter=clear' as findings_text,
    case when chance < 0.8 then 'cause ' || cast(floor(random() * 40) as integer) end as cause,
    'cause as written' as cause_text,
    true as cause_is_confirmed,
    'work done' as work_done,
    case
        when chance < 0.66 then 'fixed'
        when chance < 0.8 then 'part needed'
        when chance < 0.86 then 'not fixed'
        when chance < 0.9 then 'no access'
        when chance < 0.94 then 'no fault found'
        else 'declined'
    end as outcome,
    'technician ' || (visit_id % 40) as technician,
    30 + random() * 60 as labour_minutes,
    60 as labour_charge,
    20 as parts_cost,
    'GBP' as currency,
    case when chance < 0.03 then 'J' || cast(visit_id - 1 as varchar) end as callback_of
from placed;

insert into stage_symptom
select visit_id, 'symptom ' || (visit_id % 24), 'complaint', false, false from stage_visit
union all
select visit_id, 'F' || (visit_id % 30), 'code', false, false from stage_visit where visit_id % 2 = 0;

insert into stage_finding
select visit_id, 'finding ' || ((visit_id + n * 7) % 40), 'value ' || (n % 3), false
from stage_visit, range(1, 4) as series(n);

insert into stage_part
select visit_id, n, 'part ' || ((visit_id + n) % 25), 1, 30, 'part'
from stage_visit, range(1, 3) as series(n)
where visit_id % 2 = 0 and (n = 1 or visit_id % 10 = 0);

insert into symptom_group select 'symptom ' || n, 'group ' || (n % 12) from range(24) as series(n);
insert into cure
select 'kind ' || k, 'cause ' || c, 'part ' || (c % 25), 'shipped'
from range(8) as a(k), range(40) as b(c);
"""

ONE_MORE = """
insert into stage_visit by name
select * replace (
    {visit_id} as visit_id, {visit_id} as record_id, 'J{visit_id}' as job_no, cast(null as varchar) as callback_of,
    (select max(visit_date) + 1 from stage_visit) as visit_date)
from stage_visit
where visit_id = 1;
insert into stage_symptom select {visit_id}, symptom, source, is_negated, is_doubtful from stage_symptom where visit_id = 1;
create temp table changed_visit as
select visit_id, kind, serial, customer_hash, job_no from stage_visit where visit_id = {visit_id}
"""

BARE_SCAN = "select count(distinct hash(columns(*))) from visit"


def made_history(visits: int) -> duckdb.DuckDBPyConnection:
    """Staged tables of a made-up history, in memory: three visits a unit in the mean."""
    connection = duckdb.connect()
    connection.execute("set threads = 2; select setseed(0.25)")
    sql.create(connection)
    connection.execute("insert into setting values (30, 120, 48, 22, 35, 'GBP', null, false)")
    for statement in SYNTHETIC.format(visits=visits, units=visits // 3).split(";\n"):
        connection.execute(statement)
    return connection


def main(visits: int) -> None:
    """Build the history, rebuild everything, and print the seconds a table and the ratio to a bare scan."""
    connection = made_history(visits)
    each: dict[str, float] = {}
    for file in sql.built_tables():
        fill = f"insert into {file.table}\n{file.query}"
        each[file.table] = _timed(lambda statement=fill: connection.execute(statement))[1]
    whole, whole_cpu = _timed(lambda: sql.rebuild(connection))
    scan, scan_cpu = _timed(lambda: connection.execute(BARE_SCAN).fetchall())
    began = time.perf_counter()
    broken = {name: len(rows) for name, rows in sql.offenders(connection).items() if rows}
    checked = time.perf_counter() - began
    connection.execute(ONE_MORE.format(visit_id=visits + 1))
    refresh = refreshed(connection)
    more, more_cpu = _timed(lambda: refresh.__enter__())
    ((touched,),) = connection.execute("select count(*) from stage_visit").fetchall()
    refresh.__exit__(None, None, None)
    for table, seconds in sorted(each.items(), key=lambda item: -item[1]):
        print(f"{table:22} {seconds:6.2f} s of processor")
    ((episodes, longest),) = connection.execute("select count(*), max(visits) from episode").fetchall()
    print(f"visits {visits:,}, episodes {episodes:,}, longest {longest} visits")
    print(f"rebuild of core and marts {whole:.2f} s ({whole_cpu:.2f} s of processor on two threads)")
    print(f"one visit more: {more:.2f} s ({more_cpu:.2f} s of processor), {touched} visits touched")
    print(f"bare scan of visit {scan:.2f} s ({scan_cpu:.2f} s of processor); ratio {whole_cpu / scan_cpu:.1f}")
    print(f"invariants {checked:.2f} s; broken: {broken or 'none'}")


def _timed(work: Callable[[], object]) -> tuple[float, float]:
    """Seconds on the clock, and of the processor: the second says more on a busy machine."""
    began, began_cpu = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - began, time.process_time() - began_cpu


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000)
