-- What do the fillings of each unit say in the columns of group_by (see filling_labels)? As texts, for few units; for
-- many as numbers: filling_codes.
-- Grain: one row per unit.
-- reads: filling_labels
-- writes: nothing
select l.unit{filling columns of group_by}
from filling_labels as l
order by l.unit
