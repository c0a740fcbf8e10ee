-- What was picked on each day of the month, of each recipe and strain and in each kind of container? Fresh mass in g.
-- kind: in small letters, '' where it is not written, null where containers of several kinds were weighed together.
-- Grain: one row per day of the month, recipe, strain and kind of container with a picking.
-- reads: batches, picked_kinds
-- writes: nothing
select
    p.picked_on as day,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.treatment, '') as treatment,
    coalesce(b.spawn_form, '') as spawn_form,
    coalesce(b.strain, '') as strain,
    p.kind,
    sum(p.fresh_weight_g)::double as fresh_g,
    count(*) as pickings
from picked_kinds as p
inner join batches as b on b.line = p.batch_line
where p.picked_on between getvariable('month_first') and getvariable('month_last')
group by
    p.picked_on,
    coalesce(b.substrate, ''),
    coalesce(b.treatment, ''),
    coalesce(b.spawn_form, ''),
    coalesce(b.strain, ''),
    p.kind
order by p.picked_on, substrate, treatment, spawn_form, strain, p.kind nulls last
