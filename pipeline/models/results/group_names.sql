-- What is each group called, in the columns of group_by?
-- Grain: one row per group.
-- reads: groups
-- writes: nothing
select group_id, names
from groups
order by group_id
