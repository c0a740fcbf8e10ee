-- To which group does each unit belong?
-- Grain: one row per unit, or per filling (variable of_fillings).
-- reads: groups, unit_labels
-- writes: unit_groups
create or replace temp table unit_groups as
select l.unit, g.group_id
from unit_labels as l
inner join groups as g on g.keys = l.keys
