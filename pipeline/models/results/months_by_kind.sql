-- What was picked and what finished in each month, of each recipe and strain and in each kind of container? Masses in g.
-- kind: in small letters, '' where it is not written, null where containers of several kinds were weighed together.
-- Grain: one row per month, recipe, strain and kind of container that has any of it.
-- reads: batches, picked_kinds, unit_kinds, unit_states
-- writes: nothing
with picked as (
    select date_trunc('month', picked_on) as month, batch_line, kind, sum(fresh_weight_g) as fresh_g, count(*) as pickings
    from picked_kinds
    group by date_trunc('month', picked_on), batch_line, kind
),
finished as (
    select
        date_trunc('month', coalesce(s.closed_on, s.lapses_on)) as month,
        s.batch_line,
        k.kind,
        count(*) as units,
        count(*) filter (where s.highest_flush = 0) as lost,
        sum(s.fresh_g) filter (where s.dry_g is not null) as fresh_g,
        sum(s.dry_g) as dry_g
    from unit_states as s
    inner join unit_kinds as k on k.unit = s.unit
    where s.finished
    group by date_trunc('month', coalesce(s.closed_on, s.lapses_on)), s.batch_line, k.kind
),
parts as (
    select month, batch_line, kind, fresh_g, pickings, 0 as units, 0 as lost, null as be_fresh_g, null as dry_g from picked
    union all
    select month, batch_line, kind, 0, 0, units, lost, fresh_g, dry_g from finished
)
select
    strftime(p.month, '%Y-%m') as month,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.treatment, '') as treatment,
    coalesce(b.spawn_form, '') as spawn_form,
    coalesce(b.strain, '') as strain,
    p.kind,
    sum(p.fresh_g)::double as fresh_g,
    sum(p.pickings)::bigint as pickings,
    sum(p.units)::bigint as units_finished,
    sum(p.lost)::bigint as units_lost,
    coalesce(sum(p.be_fresh_g), 0)::double as fresh_in_be_g,
    coalesce(sum(p.dry_g), 0)::double as substrate_dry_g
from parts as p
inner join batches as b on b.line = p.batch_line
group by
    p.month,
    coalesce(b.substrate, ''),
    coalesce(b.treatment, ''),
    coalesce(b.spawn_form, ''),
    coalesce(b.strain, ''),
    p.kind
order by p.month, substrate, treatment, spawn_form, strain, p.kind nulls last
