-- Why are rows set aside or waiting, and where was a place worked out rather than read?
-- Grain: one row per rule that a staged row breaks, beside the rules on its cells (cell_findings).
-- reads: batch_faults, batches, fallback, files, filling_faults, harvest_assignments, observation_assignments, repeats,
--     resolved, stage_harvests, stage_observations
-- writes: row_findings
create or replace temp table row_findings as
with early as (
    select line, batch_line from resolved where early and not faulty
    union all
    select line, batch_line from fallback where early and not faulty
),
entries as (
    select 'harvests' as table_name, line, entry
    from stage_harvests
    where entry is not null and line in (select line from harvest_assignments)
    union all
    select 'observations', line, entry
    from stage_observations
    where entry is not null and line in (select line from observation_assignments)
),
doubled_entries as (
    select table_name, entry from entries group by table_name, entry having count(*) > 1
),
numbered_entries as (
    select e.table_name, e.entry, f.file, row_of(e.line) as row
    from entries as e
    inner join doubled_entries as d on d.table_name = e.table_name and d.entry = e.entry
    inner join files as f on f.file_part = file_part_of(e.line)
),
twice as (
    select table_name, entry, some_of(list(file || ', row ' || row order by file, row)) as rows_alike
    from numbered_entries
    group by table_name, entry
),
broken as (
    -- A faulty or repeated row is found once, for that.
    select line, rule, detail, waits_file, waits_row
    from fallback
    where rule is not null and not faulty
    union all
    select e.line, 'before_inoculation', b.inoculated_on::varchar, null, null
    from early as e
    inner join batches as b on b.line = e.batch_line
),
staged as (
    select 'harvests' as table_name, line, picked_on as day, batch, container
    from stage_harvests
    where line in (select line from broken)
    union all
    select 'observations', line, seen_on, batch, container
    from stage_observations
    where line in (select line from broken)
)
select 'batches' as table_name, file, row, rule, case when rule <> 'repeated' then batch end as value, detail, null::varchar as waits_file, null::integer as waits_row
from batch_faults
where rule is not null
union all
select 'fillings', file, row, rule, case rule when 'conflicting' then container when 'repeated' then null else batch end, detail, waits_file, waits_row
from filling_faults
where rule is not null
union all
select table_name, file, row, 'repeated', null, first_place, null, null
from repeats
union all
select s.table_name, f.file, row_of(t.line), t.rule,
    case t.rule
        when 'before_inoculation' then s.day::varchar
        when 'batch_not_listed' then s.batch
        when 'container_not_listed' then s.container
        when 'undated_filling' then s.container
    end,
    t.detail, t.waits_file, t.waits_row
from broken as t
inner join staged as s on s.line = t.line
inner join files as f on f.file_part = file_part_of(t.line)
anti join repeats as r on r.line = t.line
union all
select e.table_name, e.file, e.row, 'entry_twice', e.entry, t.rows_alike, null, null
from numbered_entries as e
inner join twice as t on t.table_name = e.table_name and t.entry = e.entry
