-- Why are rows set aside or waiting, and where was a place told rather than read?
-- Grain: one row per rule that a staged row breaks, beside the rules on its cells (cell_findings).
create or replace table row_findings as
with harvest_days as (
    select h.file, h.row, h.picked_on::varchar as value, b.inoculated_on::varchar as detail
    from stage_harvests as h
    left join fillings as f on f.batch = h.batch and f.container = h.container
    left join placed as p on p.table_name = 'harvests' and p.file = h.file and p.row = h.row
    inner join batches as b on b.batch = coalesce(f.batch, p.to_batch)
    where not h.faulty and h.picked_on < b.inoculated_on
),
observation_days as (
    select o.file, o.row, o.seen_on::varchar as value, b.inoculated_on::varchar as detail
    from stage_observations as o
    left join fillings as f on f.batch = o.batch and f.container = o.container
    left join placed as p on p.table_name = 'observations' and p.file = o.file and p.row = o.row
    inner join batches as b on b.batch = coalesce(f.batch, p.to_batch)
    where not o.faulty and o.seen_on < b.inoculated_on
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
usable_placed as (
    -- A faulty or repeated row is told of once, for that.
    select p.*, coalesce(h.batch, o.batch) as named_batch, coalesce(h.container, o.container) as named_container
    from placed as p
    left join stage_harvests as h on p.table_name = 'harvests' and h.file = p.file and h.row = p.row
    left join stage_observations as o on p.table_name = 'observations' and o.file = p.file and o.row = p.row
    left join repeats as r on r.table_name = p.table_name and r.file = p.file and r.row = p.row
    where p.rule is not null and r.file is null and not coalesce(h.faulty, o.faulty)
)
select 'batches' as table_name, file, row, rule, batch as value, detail, null::varchar as waits_file, null::integer as waits_row
from batch_fates
where rule is not null
union all
select 'fillings', file, row, rule, case when rule = 'conflicting' then container else batch end, detail, waits_file, waits_row
from filling_fates
where rule is not null
union all
select table_name, file, row, 'repeated', null, first_place, null, null
from repeats
union all
select table_name, file, row, rule,
    case when rule in ('batch_not_listed') then named_batch when rule <> 'unknown_place' then named_container end,
    detail, waits_file, waits_row
from usable_placed
union all
select 'harvests', file, row, 'before_inoculation', value, detail, null, null
from harvest_days
where (file, row) not in (select (file, row) from repeats where table_name = 'harvests')
union all
select 'observations', file, row, 'before_inoculation', value, detail, null, null
from observation_days
where (file, row) not in (select (file, row) from repeats where table_name = 'observations')
union all
select e.table_name, e.file, e.row, 'entry_twice', e.entry, t.places, null, null
from entries as e
inner join twice as t on t.table_name = e.table_name and t.entry = e.entry
