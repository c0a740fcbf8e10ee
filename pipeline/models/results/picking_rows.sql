-- In which rows do the pickings of the month's batches stand? Fresh mass in g. container: '' for a batch weighed together.
-- Grain: one row per loaded picking, up to the as-of day, of a batch that was running on any day of the month.
-- reads: fillings, harvest_assignments, rows_of_harvests, running_batches, unit_pickings, unit_states
-- writes: nothing
select
    s.batch,
    coalesce(f.container, '') as container,
    p.picked_on,
    p.fresh_weight_g::double as fresh_g,
    r.file,
    r.row
from unit_pickings as p
inner join unit_states as s on s.unit = p.unit
inner join rows_of_harvests as r on r.line = p.line
inner join harvest_assignments as h on h.line = p.line
left join fillings as f on f.line = h.filling_line
where s.batch_line in (select batch_line from running_batches)
order by s.batch, p.picked_on, r.file, r.row
