-- With which holes did each unit go into the flush asked for? See unit_holes.
-- Grain: one row per unit of which that is known.
-- reads: unit_holes
-- writes: nothing
select unit, holes
from unit_holes
order by unit
