-- Why are rows set aside or waiting, and where was a place told rather than read?
-- Grain: one row per rule that a staged row breaks, beside the rules on its cells (cell_findings).
create or replace table row_findings as
with early as (
    select q.table_name, q.stage_row, q.batch from quick_places as q where q.early
    union all
    select p.table_name, p.stage_row, p.to_batch from placed as p where p.early and not p.faulty
),
entries as (
    select 'harvests' as table_name, file, row, entry from harvests where entry is not null
    union all
    select 'observations', file, row, entry from observations where entry is not null
),
twice as (
    select table_name, entry, string_agg(file || ', row ' || row, '; ' order by file, row) as places
    from entries
    group by table_name, entry
    having count(*) > 1
),
told as (
    -- A faulty or repeated row is told of once, for that.
    select table_name, stage_row, rule, detail, waits_file, waits_row
    from placed
    where rule is not null and not faulty
    union all
    select e.table_name, e.stage_row, 'before_inoculation', b.inoculated_on::varchar, null, null
    from early as e
    inner join batches as b on b.batch = e.batch
),
staged as (
    select 'harvests' as table_name, rowid as stage_row, file, row, picked_on as day, batch, container
    from stage_harvests
    where rowid in (select stage_row from told where table_name = 'harvests')
        or rowid in (select stage_row from repeats where table_name = 'harvests')
    union all
    select 'observations', rowid, file, row, seen_on, batch, container
    from stage_observations
    where rowid in (select stage_row from told where table_name = 'observations')
        or rowid in (select stage_row from repeats where table_name = 'observations')
)
select 'batches' as table_name, file, row, rule, batch as value, detail, null::varchar as waits_file, null::integer as waits_row
from batch_faults
where rule is not null
union all
select 'fillings', file, row, rule, case when rule = 'conflicting' then container else batch end, detail, waits_file, waits_row
from filling_faults
where rule is not null
union all
select r.table_name, s.file, s.row, 'repeated', null, r.first_place, null, null
from repeats as r
inner join staged as s on s.table_name = r.table_name and s.stage_row = r.stage_row
union all
select t.table_name, s.file, s.row, t.rule,
    case t.rule
        when 'before_inoculation' then s.day::varchar
        when 'batch_not_listed' then s.batch
        when 'container_not_listed' then s.container
        when 'undated_filling' then s.container
    end,
    t.detail, t.waits_file, t.waits_row
from told as t
inner join staged as s on s.table_name = t.table_name and s.stage_row = t.stage_row
anti join repeats as r on r.table_name = t.table_name and r.stage_row = t.stage_row
union all
select e.table_name, e.file, e.row, 'entry_twice', e.entry, t.places, null, null
from entries as e
inner join twice as t on t.table_name = e.table_name and t.entry = e.entry
