-- What did each batch of the month give on each day, from its inoculation on? Fresh mass in g.
-- Grain: one row per batch that was running on any day of the month, and day with a picking.
-- reads: running_batches, unit_pickings, unit_states
-- writes: nothing
select s.batch, p.picked_on, sum(p.fresh_weight_g)::double as fresh_g, min(p.flush) as flush
from unit_pickings as p
inner join unit_states as s on s.unit = p.unit
where s.batch_line in (select batch_line from running_batches)
group by s.batch, p.picked_on
order by s.batch, p.picked_on
