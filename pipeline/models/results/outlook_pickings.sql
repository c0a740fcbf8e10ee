-- At which age did each container, or the batch weighed together (place null), give how much? Mass in kg.
-- Needs outlook_places. Grain: one row per place, or batch weighed together, and age picked at.
select
    b.number,
    p.place,
    h.picked_on - b.inoculated_on as age,
    sum(h.fresh_weight_g)::double / 1000 as kg
from harvest_places as h
inner join outlook_batches as b on b.batch_line = h.batch_line
left join outlook_places as p on p.filling_line = h.filling_line
group by b.number, p.place, h.picked_on - b.inoculated_on
order by b.number, p.place nulls first, age
