-- What was picked, what finished and what was inoculated in each month? Masses in g.
-- Grain: one row per month, from the first with anything in it to the as-of date's.
-- reads: unit_pickings, unit_states
-- writes: nothing
with picked as (
    select date_trunc('month', h.picked_on) as month, h.fresh_weight_g, h.stage_rank, h.culled_g
    from unit_pickings as h
),
finished as (
    select date_trunc('month', coalesce(closed_on, lapses_on)) as month, fresh_g, dry_g, highest_flush
    from unit_states
    where finished
),
inoculated as (
    select date_trunc('month', inoculated_on) as month, finished, fresh_g, dry_g
    from unit_states
    where inoculated_on is not null
),
firsts as (
    select min(month) as month from (
        select month from picked union all select month from finished union all select month from inoculated
    )
),
months as (
    select unnest(generate_series(month, date_trunc('month', getvariable('as_of')), interval 1 month))::date as month
    from firsts
    where month is not null
),
picked_sums as (
    select
        month,
        count(*) as pickings,
        sum(fresh_weight_g) as fresh_g,
        sum(fresh_weight_g) filter (where stage_rank >= getvariable('late_rank')) as late_g,
        sum(fresh_weight_g) filter (where stage_rank is not null) as staged_g,
        sum(culled_g) as culled_g
    from picked
    group by month
),
finished_sums as (
    select
        month,
        count(*) as units,
        count(*) filter (where highest_flush = 0) as lost,
        sum(fresh_g) filter (where dry_g is not null) as fresh_g,
        sum(dry_g) as dry_g
    from finished
    group by month
),
inoculated_sums as (
    select
        month,
        count(*) as units,
        sum(fresh_g) filter (where finished and dry_g is not null) as fresh_g,
        sum(dry_g) filter (where finished) as dry_g
    from inoculated
    group by month
)
select
    strftime(m.month, '%Y-%m') as month,
    coalesce(p.fresh_g, 0)::double as fresh_g,
    coalesce(p.pickings, 0) as pickings,
    coalesce(f.units, 0) as units_finished,
    coalesce(f.lost, 0) as units_lost,
    100 * nullif(f.fresh_g, 0)::double / nullif(f.dry_g::double, 0) as be_finished_pct,
    coalesce(i.units, 0) as units_inoculated,
    100 * nullif(i.fresh_g, 0)::double / nullif(i.dry_g::double, 0) as be_inoculated_pct,
    100 * coalesce(p.late_g, 0)::double / nullif(p.staged_g::double, 0) as picked_late_pct,
    100 * coalesce(p.culled_g, 0)::double / nullif(p.fresh_g::double, 0) as culled_pct
from months as m
left join picked_sums as p on p.month = m.month
left join finished_sums as f on f.month = m.month
left join inoculated_sums as i on i.month = m.month
order by m.month
