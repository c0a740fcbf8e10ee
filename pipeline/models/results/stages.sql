-- At which cap stage was the month's fresh mass picked? Fresh mass in g; stage_rank 1 is the youngest, null: no stage.
-- Grain: one row per cap stage, youngest first, and one for mass without a stage.
-- reads: unit_pickings
-- writes: nothing
with listed as (
    select getvariable('cap_stages')[stage_rank] as cap_stage, stage_rank
    from (select unnest(range(1, len(getvariable('cap_stages')) + 1)) as stage_rank)
    union all
    select '', null
),
picked as (
    select stage_rank, sum(fresh_weight_g) as fresh_g, count(*) as pickings
    from unit_pickings
    where picked_on between getvariable('month_first') and getvariable('month_last')
    group by stage_rank
)
select
    l.cap_stage,
    coalesce(p.fresh_g, 0)::double as fresh_g,
    coalesce(p.pickings, 0) as pickings,
    100 * coalesce(p.fresh_g, 0)::double / nullif(sum(p.fresh_g) over ()::double, 0) as share_pct,
    case
        when l.stage_rank is not null
            then 100 * coalesce(p.fresh_g, 0)::double
                / nullif(sum(p.fresh_g) filter (where l.stage_rank is not null) over ()::double, 0)
    end as share_of_staged_pct
from listed as l
left join picked as p on p.stage_rank is not distinct from l.stage_rank
order by l.stage_rank nulls last
