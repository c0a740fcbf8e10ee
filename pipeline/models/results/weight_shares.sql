-- What is one picking of a container usually, by flush, over the most that one picking of its fill can be?
-- Grain: one row per flush that enough pickings are known of (schemas/pickings.py, LEAST_PICKINGS).
-- reads: filling_most, harvest_assignments
-- writes: nothing
select p.flush, round(median(p.fresh_weight_g::double / f.most_g), 4) as share
from harvest_assignments as p
inner join filling_most as f on f.line = p.filling_line
where f.most_g > 0
group by p.flush
having count(*) >= getvariable('least_pickings')
order by p.flush
