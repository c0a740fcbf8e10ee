-- What was picked on each day of the month, of each recipe and strain and in each kind of container? Fresh mass in g.
-- kind: in small letters, '' where it is not written, null where containers of several kinds were weighed together.
-- Grain: one row per day of the month, recipe, strain and kind of container with a picking.
-- reads: batches, fillings, harvest_assignments, unit_pickings, whole_kinds
-- writes: nothing
with picked as (
    select
        p.picked_on,
        h.batch_line,
        case when h.filling_line is null then w.kind else coalesce(lower(f.kind), '') end as kind,
        p.fresh_weight_g
    from unit_pickings as p
    inner join harvest_assignments as h on h.line = p.line
    left join fillings as f on f.line = h.filling_line
    left join whole_kinds as w on w.unit = p.unit
    where p.picked_on between getvariable('month_first') and getvariable('month_last')
)
select
    p.picked_on as day,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.treatment, '') as treatment,
    coalesce(b.spawn_form, '') as spawn_form,
    coalesce(b.strain, '') as strain,
    p.kind,
    sum(p.fresh_weight_g)::double as fresh_g,
    count(*) as pickings
from picked as p
inner join batches as b on b.line = p.batch_line
group by
    p.picked_on,
    coalesce(b.substrate, ''),
    coalesce(b.treatment, ''),
    coalesce(b.spawn_form, ''),
    coalesce(b.strain, ''),
    p.kind
order by p.picked_on, substrate, treatment, spawn_form, strain, p.kind nulls last
