-- What do the fillings of each unit say in the columns of group_by (see filling_labels)? As numbers, which
-- filling_cells tells: they take a tenth of the room of texts.
-- Grain: one row per unit.
-- reads: filling_labels
-- writes: nothing
select l.unit{filling codes of group_by}
from filling_labels as l
order by l.unit
