-- What left the farm from first_day to last_day: sold, given away, eaten or discarded? What came back is fresh no more,
-- and is not in it. Mass in kg; strain: blank where the sale names none; picked_on: null where it does not say.
-- Grain: one row per day, strain and day of picking that sales name.
-- reads: batches, sales
-- writes: nothing
select
    s.sold_on,
    coalesce(s.strain, b.strain, '') as strain,
    s.picked_on,
    sum(s.weight_g)::double / 1000 as kg
from sales as s
left join batches as b on b.batch = s.batch
where s.kind <> 'returned' and s.sold_on between getvariable('first_day') and getvariable('last_day')
group by s.sold_on, coalesce(s.strain, b.strain, ''), s.picked_on
order by s.sold_on, s.picked_on nulls last, strain
