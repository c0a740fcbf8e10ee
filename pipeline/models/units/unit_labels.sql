-- What is each unit called in the columns by which units are grouped (group_by), in their order? keys: the values of its
-- cells, by which it is grouped; texts: as they were written. A batch weighed as a whole has a filling's cell where all
-- its fillings agree. Variable of_fillings: the fillings themselves, also those of such batches.
-- Grain: one row per unit, or per filling.
-- reads: batches, fillings, stage_batches, stage_fillings, units
-- writes: unit_labels
create or replace temp table unit_labels as
with grouped as (
    select unit, batch_line, container
    from units
    where not getvariable('of_fillings')
    union all
    select f.line as unit, f.batch_line, f.container
    from fillings as f
    inner join batches as b on b.line = f.batch_line
    where getvariable('of_fillings') and (b.inoculated_on is null or b.inoculated_on <= getvariable('as_of'))
),
batch_labels as (
    select
        b.line{batch cells of group_by}
    from batches as b
    inner join stage_batches as sb on sb.line = b.line
),
members as (
    select unit, unit as filling_line from grouped where container is not null
    union all
    select g.unit, f.line
    from grouped as g
    inner join fillings as f on f.batch_line = g.batch_line
    where g.container is null
),
filling_labels as (
    select
        m.unit{filling cells of group_by}
    from members as m
    inner join fillings as f on f.line = m.filling_line
    inner join stage_fillings as sf on sf.line = m.filling_line
    group by m.unit
)
select
    g.unit,
    [
    {keys of group_by}
    ]::varchar[] as keys,
    [
    {texts of group_by}
    ]::varchar[] as texts
from grouped as g
inner join batch_labels as b on b.line = g.batch_line
{filling labels of group_by}
