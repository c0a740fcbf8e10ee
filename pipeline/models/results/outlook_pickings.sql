-- At which age did each container, or the batch weighed together (place null), give how much? Mass in kg.
-- Grain: one row per place, or batch weighed together, and age picked at.
-- reads: harvest_assignments, outlook_batches, outlook_containers
-- writes: nothing
select
    b.number,
    p.place,
    h.picked_on - b.inoculated_on as age,
    sum(h.fresh_weight_g)::double / 1000 as kg
from harvest_assignments as h
inner join outlook_batches as b on b.batch_line = h.batch_line
left join outlook_containers as p on p.filling_line = h.filling_line
group by b.number, p.place, h.picked_on - b.inoculated_on
order by b.number, p.place nulls first, age
