-- How much of each strain was picked on each day from first_day to last_day? Mass in kg; strain: blank where not noted.
-- Grain: one row per strain and day with a picking.
-- reads: batches, harvest_assignments
-- writes: nothing
select
    h.picked_on,
    coalesce(b.strain, '') as strain,
    sum(h.fresh_weight_g)::double / 1000 as kg
from harvest_assignments as h
inner join batches as b on b.line = h.batch_line
where h.picked_on between getvariable('first_day') and getvariable('last_day')
group by h.picked_on, coalesce(b.strain, '')
order by h.picked_on, strain
