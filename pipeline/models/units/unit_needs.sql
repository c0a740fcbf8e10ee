-- What went into each unit that may have a price? item: as in prices.csv; name, other_name: what a price may be called
-- that is meant for it alone; quantity: kg, or containers; batch_share: the unit's share of its batch, by containers, for
-- prices per batch. lacks: the column that is blank where the quantity is not known.
-- Grain: one row per unit of a dated batch and item.
-- reads: batches, unit_kinds, unit_sizes, unit_states
-- writes: unit_needs
create or replace temp table unit_needs as
with sized as (
    select
        s.unit,
        s.batch_line,
        s.inoculated_on,
        s.dry_g,
        s.spawn_g,
        nullif(k.kind, '') as kind,
        z.containers,
        z.containers / nullif(sum(z.containers) over (partition by s.batch_line), 0) as batch_share
    from unit_states as s
    inner join unit_sizes as z on z.unit = s.unit
    inner join unit_kinds as k on k.unit = s.unit
    where s.inoculated_on is not null
),
needs as (
    select s.unit, s.batch_line, s.inoculated_on, 'substrate' as item, lower(b.substrate) as name,
        null::varchar as other_name, s.dry_g / 1000 as quantity, null::double as batch_share,
        'substrate_dry_kg' as column_name
    from sized as s
    inner join batches as b on b.line = s.batch_line
    union all
    select s.unit, s.batch_line, s.inoculated_on, 'supplement', lower(b.supplement), null,
        b.supplement_dry_kg::decimal(38, 6) * s.dry_g / b.dry_g, null, 'supplement_dry_kg'
    from sized as s
    inner join batches as b on b.line = s.batch_line
    where b.supplement is not null or b.supplement_dry_kg > 0
    union all
    select s.unit, s.batch_line, s.inoculated_on, 'spawn', lower(b.spawn_lot), lower(b.spawn_form), s.spawn_g / 1000,
        null, 'spawn_kg'
    from sized as s
    inner join batches as b on b.line = s.batch_line
    union all
    select s.unit, s.batch_line, s.inoculated_on, 'lime', lower(b.treatment), null, s.containers, s.batch_share,
        'containers_filled'
    from sized as s
    inner join batches as b on b.line = s.batch_line
    where b.lime_g_per_l > 0 or contains(coalesce(b.treatment, ''), 'lime')
    union all
    select unit, batch_line, inoculated_on, 'start', kind, null, containers, batch_share, 'containers_filled'
    from sized
    union all
    select unit, batch_line, inoculated_on, 'container_day', kind, null, containers, null, 'containers_filled'
    from sized
    union all
    select unit, batch_line, inoculated_on, 'work_hour', null, null, containers, null, 'containers_filled'
    from sized
)
select
    unit,
    batch_line,
    inoculated_on,
    item,
    name,
    other_name,
    quantity::decimal(18, 9) as quantity,
    batch_share::decimal(18, 9) as batch_share,
    case when quantity is null then column_name end as lacks
from needs
