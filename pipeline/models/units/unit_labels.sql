-- What is each unit called in the columns by which units are grouped (group_by), in their order? keys: the values of its
-- cells, by which it is grouped; texts: as they were written. A batch weighed as a whole has a filling's cell where all
-- its fillings agree. Variable of_fillings: the fillings themselves, also those of such batches.
-- Grain: one row per unit, or per filling.
-- reads: batch_labels, filling_labels, labelled_units
-- writes: unit_labels
create or replace temp table unit_labels as
select
    g.unit,
    [
    {keys of group_by}
    ]::varchar[] as keys,
    [
    {texts of group_by}
    ]::varchar[] as texts
from labelled_units as g
inner join batch_labels as b on b.batch_line = g.batch_line
{filling labels of group_by}
