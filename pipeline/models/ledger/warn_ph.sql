-- Is a pH above what lime water can reach? Once per farm: the strip or the meter is at fault, not the row.
-- Grain: one row, at the first such reading; none where there is none.
-- reads: batches
-- writes: warn_ph
create or replace temp table warn_ph as
with alkaline as (
    select
        count(*) as readings,
        arg_min(file, (file, row)) as file,
        arg_min(row, (file, row)) as row,
        arg_min(coalesce(ph_start > 12.95, false), (file, row)) as at_start,
        arg_min(case when ph_start > 12.95 then ph_start else ph_end end, (file, row)) as ph
    from batches
    where ph_start > 12.95 or ph_end > 12.95
)
select 'batches' as table_name, file, row, case when at_start then 'lime_ph' else 'lime_ph_end' end as rule,
    ph::varchar as value, readings::varchar as detail
from alkaline
where readings > 0
