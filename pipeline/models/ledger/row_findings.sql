-- Why are rows set aside or waiting, and where was a place worked out rather than read?
-- Grain: one row per rule that a staged row breaks, beside the rules on its cells (cell_findings).
-- reads: batch_faults, batches, fallback, files, filling_faults, repeats, resolved, stage_harvests, stage_observations
-- writes: row_findings
create or replace temp table row_findings as
with early as (
    select line, batch_line from resolved where early and not faulty
    union all
    select line, batch_line from fallback where early and not faulty
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
