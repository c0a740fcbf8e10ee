-- Which filling (or batch as a whole: filling_line null) and flush does each loaded picking belong to? Mass in g.
-- derived: its flush cell is blank. What is clear is written once, where it stays; the others stand beside it.
-- Grain: one row per loaded picking. The view `harvests` shows it with all its cells.
-- reads: clear_harvests, repeats, resolved_harvests
-- writes: harvest_assignments
create or replace view harvest_assignments as
select c.line, c.batch_line, c.filling_line, c.picked_on, c.fresh_weight_g, c.flush, false as derived,
    c.stage_rank, c.culled_g
from clear_harvests as c
anti join repeats as r on r.line = c.line
union all
select line, batch_line, filling_line, picked_on, fresh_weight_g, flush, derived, stage_rank, culled_g
from resolved_harvests
