-- What did each started unit give at each age (days)? Mass in g.
-- Grain: one row per unit and age picked at.
-- reads: unit_groups, unit_pickings, unit_starts
-- writes: nothing
select s.unit, g.group_id, p.picked_on - s.inoculated_on as age, sum(p.fresh_weight_g) as fresh_g
from unit_pickings as p
inner join unit_starts as s on s.unit = p.unit
inner join unit_groups as g on g.unit = s.unit
where s.containers > 0
group by s.unit, g.group_id, p.picked_on - s.inoculated_on
order by s.unit, age
