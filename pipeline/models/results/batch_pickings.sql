-- What did each batch of the month give on each day, from its inoculation on? Fresh mass in g.
-- Grain: one row per batch that was running on any day of the month, and day with a picking.
-- reads: unit_pickings, unit_states
-- writes: nothing
with running as (
    select batch_line
    from unit_states
    group by batch_line
    having min(inoculated_on) <= getvariable('month_last')
        and (not bool_and(finished) or max(coalesce(closed_on, lapses_on)) >= getvariable('month_first'))
)
select s.batch, p.picked_on, sum(p.fresh_weight_g)::double as fresh_g, min(p.flush) as flush
from unit_pickings as p
inner join unit_states as s on s.unit = p.unit
where s.batch_line in (select batch_line from running)
group by s.batch, p.picked_on
order by s.batch, p.picked_on
