-- Which loaded sales say what does not fit together: price and amount, days, a batch that is not listed; more than was
-- picked by then, of the farm or of the batch that the row names; or nothing of what they brought?
-- Grain: one row per rule that a sale breaks.
-- reads: batches, harvest_assignments, sales
-- writes: warn_sales
create or replace temp table warn_sales as
with picked as (
    select b.batch, h.picked_on, sum(h.fresh_weight_g) as fresh_g
    from harvest_assignments as h
    inner join batches as b on b.line = h.batch_line
    where h.picked_on <= (select max(sold_on) from sales)
    group by b.batch, h.picked_on
),
picked_by as (
    select picked_on, sum(sum(fresh_g)) over (order by picked_on) as fresh_g from picked group by picked_on
),
batch_picked_by as (
    select batch, picked_on, sum(fresh_g) over (partition by batch order by picked_on) as fresh_g from picked
),
left_by as (
    select
        line,
        batch,
        sold_on,
        kind,
        sum(case when kind = 'returned' then -weight_g else weight_g end) over up_to as left_g,
        sum(case when kind = 'returned' then -weight_g else weight_g end) over of_batch as batch_left_g
    from sales
    window up_to as (order by sold_on, file, row), of_batch as (partition by batch order by sold_on, file, row)
),
days as (
    select d.sold_on, coalesce(p.fresh_g, 0) as fresh_g
    from (select distinct sold_on from sales) as d
    asof left join picked_by as p on d.sold_on >= p.picked_on
),
batch_days as (
    select d.batch, d.sold_on, coalesce(p.fresh_g, 0) as fresh_g
    from (select distinct s.batch, s.sold_on from sales as s semi join batches as b on b.batch = s.batch) as d
    asof left join batch_picked_by as p on d.batch = p.batch and d.sold_on >= p.picked_on
),
above as (
    select
        s.line,
        case
            when s.batch_left_g > b.fresh_g
                then printf('%.0f g of %s were picked and %.0f g left, %.0f g more', b.fresh_g::double, s.batch,
                    s.batch_left_g::double, (s.batch_left_g - b.fresh_g)::double)
            else printf('%.0f g were picked and %.0f g left, %.0f g more', d.fresh_g::double, s.left_g::double,
                (s.left_g - d.fresh_g)::double)
        end as detail
    from left_by as s
    inner join days as d on d.sold_on = s.sold_on
    left join batch_days as b on b.batch = s.batch and b.sold_on = s.sold_on
    where s.kind <> 'returned' and (s.left_g > d.fresh_g or s.batch_left_g > b.fresh_g)
)
select s.line, 'price_and_amount' as rule, s.amount::double::varchar as value,
    printf('%.2f', (s.weight_g::decimal(38, 3) * s.price_per_kg / 1000)::double) as detail
from sales as s
where abs(s.weight_g::decimal(38, 3) * s.price_per_kg / 1000 - s.amount) > 0.01
union all
select s.line, 'no_price', null,
    s.sold_on || ',fresh,' || coalesce(s.strain, '') || ',' || coalesce(s.buyer, '') || ',PRICE,kg'
from sales as s
where s.paid is null
union all
select s.line, 'batch_not_listed', s.batch, null
from sales as s
anti join batches as b on b.batch = s.batch
where s.batch is not null
union all
select s.line, 'picked_after', s.picked_on::varchar, s.sold_on::varchar
from sales as s
where s.picked_on > s.sold_on
union all
select s.line, 'above_picked', s.weight_g::varchar, a.detail
from above as a
inner join sales as s on s.line = a.line
