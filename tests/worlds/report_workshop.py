"""A made-up workshop, drawn inside DuckDB with fixed odds, for the tests and the benchmark of the report.

Four kinds, six makes, seven technicians; one habit planted: on "does not drain" the drain pump goes in first where the
sump hose was blocked. Odds come from a hash of the fault's number, so the same call always gives the same workshop.
"""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import duckdb

import sql
from pipeline.month.month import all_reports
from pipeline.settings import Settings
from tests.worlds.shared import built_once

START = "2024-01-01"
DAYS = 1034  # to 2026-10-31

_FAULTS = """
create temp table fault as
with
    numbered as (
        select
            i as fault,
            date '{start}' + cast(i * {days} // {faults} as integer) as first_day,
            hash(i, 1) % 1000 / 1000.0 as path,
            hash(i, 2) % 1000 / 1000.0 as what,
            hash(i, 3) % 1000 / 1000.0 as who,
            cast(hash(i, 4) % {units} as bigint) as unit,
            cast(3 + hash(i, 5) % 22 as bigint) as gap
        from range(0, {faults}) as series(i)
    ),
    placed as (
        select
            *,
            ['washing machine', 'tumble dryer', 'dishwasher', 'fridge-freezer'][1 + cast(unit % 10 >= 5 as integer)
                + cast(unit % 10 >= 7 as integer) + cast(unit % 10 >= 9 as integer)] as kind,
            ['asterby', 'brindle', 'corvane', 'dunmore', 'elstow', 'farrow'][1 + unit % 6] as make,
            ['A. Marsh', 'B. Quill', 'C. Rowe', 'D. Stone', 'E. Thorn', 'F. Vale', 'G. Wick'][
                1 + cast(floor(who * 7) as integer)
            ] as technician
        from numbered
    )
select
    *,
    case kind
        when 'washing machine' then case
            when what < 0.5 then 'does not drain' when what < 0.8 then 'does not heat' else 'leaks' end
        when 'tumble dryer' then case when what < 0.6 then 'drum does not turn' else 'takes too long' end
        when 'dishwasher' then case when what < 0.6 then 'does not drain' else 'does not heat' end
        else 'warm'
    end as symptom,
    case kind
        when 'washing machine' then case
            when what < 0.2 then 'partly blocked sump hose' when what < 0.36 then 'drain pump seized or open circuit'
            when what < 0.5 then 'blocked pump filter' when what < 0.7 then 'heating element open circuit'
            when what < 0.8 then 'ntc probe out of range' else 'torn door seal' end
        when 'tumble dryer' then case when what < 0.6 then 'drive belt broken' else 'lint blockage' end
        when 'dishwasher' then case
            when what < 0.35 then 'filter or sump blocked' when what < 0.6 then 'drain pump failed'
            else 'heater failed' end
        else case when what < 0.5 then 'defrost heater failed' else 'evaporator fan motor failed' end
    end as cause
from placed;

create temp table cured_by as
select * from (values
    ('drain pump seized or open circuit', 'drain pump', 34.5),
    ('heating element open circuit', 'heating element', 28.0),
    ('ntc probe out of range', 'ntc probe', 11.0),
    ('torn door seal', 'door seal', 42.0),
    ('drive belt broken', 'drive belt', 9.5),
    ('drain pump failed', 'drain pump', 38.0),
    ('heater failed', 'heater', 64.0),
    ('defrost heater failed', 'defrost heater', 31.0),
    ('evaporator fan motor failed', 'fan motor', 36.0)
) as listed(cause, part, price);

create temp table planned as
select
    fault.*,
    cured_by.part as right_part,
    cured_by.price as right_price,
    case
        when cause = 'partly blocked sump hose' and path < 0.45 then 'wrong swap'
        when path < 0.04 then 'wrong swap'
        when path < 0.72 then 'at once'
        when path < 0.84 then case when cured_by.part is null then 'at once' else 'part needed' end
        when path < 0.88 then 'not fixed'
        when path < 0.92 then 'no fault found'
        when path < 0.94 then 'beyond economic repair'
        when path < 0.96 then 'declined'
        when path < 0.98 then 'no access'
        else 'waiting'
    end as story,
    case when symptom = 'does not drain' then 'drain pump' else 'control board' end as wrong_part
from fault
left join cured_by using (cause);

create temp table made as
select
    fault * 2 + 1 as visit_id,
    first_day as visit_date,
    case story
        when 'wrong swap' then 'fixed' when 'at once' then 'fixed' when 'waiting' then 'part needed' else story
    end as outcome,
    case when story in ('at once', 'no access') then 1 else 2 end as visits,
    case when story = 'wrong swap' then wrong_part when story = 'at once' then right_part end as part,
    case when story = 'at once' then cause end as cause,
    null as callback_of,
    planned.* exclude (cause)
from planned
union all by name
select
    fault * 2 + 2 as visit_id,
    first_day + cast(gap as integer) as visit_date,
    'fixed' as outcome,
    right_part as part,
    cause as cause,
    'J' || fault as callback_of,
    planned.* exclude (cause)
from planned
where story in ('wrong swap', 'part needed', 'not fixed');

delete from made where visit_date > date '{start}' + {days};

insert into stage_visit by name
select
    visit_id,
    visit_id as record_id,
    visit_date,
    kind,
    'J' || fault || case when visit_id % 2 = 0 then '-2' else '' end as job_no,
    md5(cast(unit as varchar)) as customer_hash,
    make,
    upper(substr(make, 1, 2)) || (unit % 40) as model,
    upper(substr(make, 1, 2)) as model_family,
    case when unit % 12 <> 0 then 'S' || unit end as serial,
    case when unit % 9 <> 0 then round(unit % 13 + (visit_date - date '{start}') / 365.25, 1) end as age_years,
    symptom || ', call ' || fault as complaint,
    case when symptom = 'does not drain' then 'water left=' || case when what < 0.36 then 'yes' else 'no' end end
        as findings_text,
    cause,
    cause as cause_text,
    cause is not null as cause_is_confirmed,
    null as work_done,
    outcome,
    technician,
    case when outcome <> 'no access' then cast(25 + hash(visit_id, 6) % 50 as double) end as labour_minutes,
    case when outcome <> 'no access' then 60.0 end as labour_charge,
    case when part is not null then 30.0 end as parts_cost,
    'GBP' as currency,
    callback_of
from made;

insert into stage_symptom by name
select visit_id, symptom, 'complaint' as source, false as is_negated, false as is_doubtful from made;

insert into stage_finding by name
select
    visit_id, 'water left' as finding, case when what < 0.36 then 'yes' else 'no' end as value, false as is_doubtful
from made
where symptom = 'does not drain' and outcome <> 'no access';

insert into stage_part by name
select
    visit_id, 1 as part_no, part, 1.0 as quantity,
    case part when 'control board' then 95.0 when 'drain pump' then 34.5 else coalesce(right_price, 20.0) end
        as unit_cost,
    part as as_written
from made
where part is not null;

insert into cure by name
select distinct kind, cause, right_part as part, 'shipped' as origin from planned;

insert into cure by name
select
    'washing machine' as kind, 'control board not driving heater' as cause, 'control board' as part,
    'shipped' as origin;

insert into symptom_group by name
select distinct symptom, symptom as symptom_group from planned;

drop table made;
drop table planned;
drop table cured_by;
drop table fault;
"""


def made_workshop(faults: int, database: str = ":memory:", *, days: int = DAYS) -> duckdb.DuckDBPyConnection:
    """Open a workshop with about 1.2 visits for each of ``faults`` faults, its marts built."""
    connection = duckdb.connect(database)
    sql.create(connection)
    connection.execute(
        "insert into setting by name "
        "select 30 as window_days, 120 as waiting_days, 48.0 as hour_rate, 22.0 as trip_cost, "
        "35.0 as trip_minutes, 'GBP' as currency, cast(null as date) as as_of"
    )
    connection.execute(_FAULTS.format(start=START, days=days, faults=faults, units=max(faults // 2, 5)))
    sql.rebuild(connection)
    return connection


def all_months() -> Path:
    """Folder with the pages and the index of a workshop of three months; read it, never change it."""
    return built_once("all-months", _all_months)


def _all_months(folder: Path) -> None:
    connection = made_workshop(60, days=70)
    made = all_reports(SimpleNamespace(connection=connection, path=None), Settings(), folder)  # type: ignore[arg-type]
    assert [row["month"] for row in made["months"]] == ["2024-01", "2024-02", "2024-03"]
