-- What do the fillings of each unit say in those of the columns by which units are grouped (group_by) that are a
-- filling's? A column of keys and one of texts for each: see unit_labels. A batch weighed as a whole has the cell in
-- which all its fillings agree; else it is blank. Variable of_fillings: the fillings themselves.
-- Grain: one row per unit, or per filling.
-- reads: fillings, labelled_units, stage_fillings
-- writes: filling_labels
create or replace temp view filling_labels as
with members as (
    select unit, unit as filling_line from labelled_units where not whole
    union all
    select g.unit, f.line
    from labelled_units as g
    inner join fillings as f on f.batch_line = g.batch_line
    where g.whole
)
select
    m.unit{filling cells of group_by}
from members as m
inner join fillings as f on f.line = m.filling_line
inner join stage_fillings as sf on sf.line = m.filling_line
group by m.unit
