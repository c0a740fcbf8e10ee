-- What is known of each filling, and how much dry substrate is in it? Masses in kg as entered; *_g in g.
-- dry_source names the rung of the ladder: weighed, from fill, by fill, by volume, evenly; null where there is no
-- dry mass. wet_g and spawn_g are the filling's share of the batch's, in the proportion of its dry mass.
-- Masses are kept to 1e-9 g; one of a million kilograms or more is none.
-- A batch with filling rows set aside shares nothing by rungs 3 to 5: what those fillings hold is not known.
-- Grain: one row per loaded filling.
create or replace table fillings as
with own as materialized (
    select
        f.batch,
        f.container,
        f.kind,
        f.volume_l,
        f.holes_open,
        f.holes_taped,
        f.fill_kg,
        f.substrate_dry_kg,
        f.room,
        f.position,
        f.note,
        f.file,
        f.row,
        f.line,
        b.line as batch_line,
        b.inoculated_on,
        b.dry_g::double as batch_dry_g,
        b.substrate_wet_kg::double * 1000 as batch_wet_g,
        b.spawn_kg::double * 1000 as batch_spawn_g,
        case
            when f.substrate_dry_kg is not null then 'weighed'
            when f.fill_kg is not null and b.dry_g is not null and b.substrate_wet_kg is not null then 'from fill'
        end as own_source,
        case
            when f.substrate_dry_kg is not null then f.substrate_dry_kg::double * 1000
            when f.fill_kg is not null
                then f.fill_kg::double * b.dry_g::double / (b.substrate_wet_kg + coalesce(b.spawn_kg, 0))::double
        end as own_g
    from stage_fillings as f
    inner join batches as b on b.batch = f.batch
    anti join filling_faults as q on q.line = f.line
),
aside as (
    select distinct batch from fillings_aside
),
rest as (
    -- Sums of doubles depend on their order, so the sums of a batch are taken over decimals.
    select
        own.batch_line,
        min(own.batch_dry_g) - coalesce(sum(own.own_g::decimal(28, 12)), 0)::double as left_g,
        bool_and(own.fill_kg is not null) filter (where own.own_source is null) as all_fill,
        sum(own.fill_kg) filter (where own.own_source is null) as sum_fill,
        bool_and(own.volume_l is not null) filter (where own.own_source is null) as all_volume,
        sum(own.volume_l::decimal(18, 6)) filter (where own.own_source is null) as sum_volume,
        min(coalesce(own.kind, '')) filter (where own.own_source is null)
            = max(coalesce(own.kind, '')) filter (where own.own_source is null) as one_kind,
        count(*) filter (where own.own_source is null) as others
    from own
    where own.batch not in (select batch from aside)
        and own.batch_line in (select batch_line from own where own_source is null)
    group by own.batch_line
),
turns as (
    select
        line,
        lead(inoculated_on) over turn as refilled_on,
        lead(batch) over turn as refilled_from
    from own
    where inoculated_on is not null
    window turn as (partition by container order by inoculated_on, batch)
),
rungs as (
    select
        own.*,
        turns.refilled_on,
        turns.refilled_from,
        case
            when own.own_source is not null then own.own_source
            when rest.left_g is null or rest.left_g <= 0 then null
            when rest.all_fill then 'by fill'
            when rest.all_volume then 'by volume'
            when rest.one_kind then 'evenly'
        end as told_source,
        case
            when own.own_source is not null then own.own_g
            when rest.left_g is null or rest.left_g <= 0 then null
            when rest.all_fill then rest.left_g * own.fill_kg::double / rest.sum_fill::double
            when rest.all_volume then rest.left_g * own.volume_l / rest.sum_volume::double
            when rest.one_kind then rest.left_g / rest.others
        end as told_g
    from own
    left join rest on rest.batch_line = own.batch_line
    left join turns on turns.line = own.line
),
shared as (
    select *, try_cast(told_g as decimal(18, 9)) as dry_g from rungs
)
select
    batch,
    container,
    kind,
    volume_l,
    holes_open,
    holes_taped,
    fill_kg,
    substrate_dry_kg,
    room,
    position,
    note,
    inoculated_on,
    refilled_on,
    refilled_from,
    dry_g,
    case when dry_g is not null then told_source end as dry_source,
    case when batch_dry_g > 0 then try_cast(batch_wet_g * told_g / batch_dry_g as decimal(18, 9)) end as wet_g,
    case when batch_dry_g > 0 then try_cast(batch_spawn_g * told_g / batch_dry_g as decimal(18, 9)) end as spawn_g,
    file,
    row,
    line,
    batch_line
from shared
