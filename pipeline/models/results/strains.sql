-- What was picked of each strain in the month? Fresh mass in g.
-- Grain: one row per strain picked in the month.
-- reads: batches, unit_pickings, unit_states
-- writes: nothing
with picked as (
    select coalesce(b.strain, '') as strain, sum(p.fresh_weight_g) as fresh_g, count(*) as pickings
    from unit_pickings as p
    inner join unit_states as s on s.unit = p.unit
    inner join batches as b on b.line = s.batch_line
    where p.picked_on between getvariable('month_first') and getvariable('month_last')
    group by coalesce(b.strain, '')
)
select
    strain,
    fresh_g::double as fresh_g,
    pickings,
    100 * fresh_g::double / nullif(sum(fresh_g) over ()::double, 0) as share_pct
from picked
order by fresh_g desc, strain
