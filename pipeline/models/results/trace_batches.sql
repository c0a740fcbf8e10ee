-- Which batches are traced, and which others share a soak or a spawn lot with them? Masses in g. relation: traced, same
-- soak, same spawn lot, same soak and spawn lot. Of a traced batch only its traced containers, and what was weighed
-- together, are counted; of the others all that they gave.
-- Grain: one row per traced batch, and one per batch that shares with one.
-- reads: batches, harvest_assignments, trace_scope, trace_scope_pickings
-- writes: nothing
with traced as (
    select distinct batch_line, soak_key, spawn_lot from trace_scope where traced
),
related as (
    select
        p.batch_line,
        p.batch_line in (select batch_line from traced) as is_traced,
        p.soak_key in (select soak_key from traced) as by_soak,
        coalesce(p.spawn_lot in (select spawn_lot from traced where spawn_lot is not null), false) as by_lot,
        count(*) filter (where p.traced) as traced_containers,
        count(*) as containers,
        count(*) filter (where p.traced and p.state = 'running') as traced_running,
        count(*) filter (where p.state = 'running') as running,
        count(*) filter (where p.traced and p.lost) as traced_lost,
        count(*) filter (where p.lost) as lost
    from trace_scope as p
    group by p.batch_line, p.soak_key, p.spawn_lot
),
pickings as (
    select batch_line, picked_on, fresh_g from trace_scope_pickings
    union all
    select h.batch_line, h.picked_on, h.fresh_weight_g
    from harvest_assignments as h
    where h.picked_on <= getvariable('as_of') and h.batch_line not in (select batch_line from traced)
),
picked as (
    select batch_line, sum(fresh_g) as fresh_g, count(*) as pickings, min(picked_on) as first_picked,
        max(picked_on) as last_picked
    from pickings
    group by batch_line
)
select
    case
        when r.is_traced then 'traced'
        when r.by_soak and r.by_lot then 'same soak and spawn lot'
        when r.by_soak then 'same soak'
        else 'same spawn lot'
    end as relation,
    b.batch,
    coalesce(b.soak, '') as soak,
    coalesce(b.spawn_lot, '') as spawn_lot,
    b.inoculated_on,
    coalesce(b.strain, '') as strain,
    coalesce(b.substrate, '') as substrate,
    case when r.is_traced then r.traced_containers else r.containers end as containers,
    case when r.is_traced then r.traced_running else r.running end as running,
    case when r.is_traced then r.traced_lost else r.lost end as lost,
    coalesce(p.pickings, 0) as pickings,
    coalesce(p.fresh_g, 0)::double as fresh_g,
    p.first_picked,
    p.last_picked
from related as r
inner join batches as b on b.line = r.batch_line
left join picked as p on p.batch_line = r.batch_line
where r.is_traced or r.by_soak or r.by_lot
order by r.is_traced desc, relation, b.inoculated_on nulls first, b.batch
