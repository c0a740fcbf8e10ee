-- What is known of each filling, and how much dry substrate is in it? Masses in kg as entered; *_g in g.
-- dry_source names the rung of the ladder: weighed, from fill, by fill, by volume, evenly; null where there is no
-- dry mass. wet_g and spawn_g are the filling's share of the batch's, in the proportion of its dry mass.
-- A batch with filling rows set aside shares nothing by rungs 3 to 5: what those fillings hold is not known.
-- Grain: one row per loaded filling.
create or replace table fillings as
with aside as (
    select batch, count(*) as rows_aside
    from filling_fates
    where fate <> 'loaded' and rule is distinct from 'repeated' and batch is not null
    group by batch
),
own as (
    select
        f.file,
        f.row,
        f.batch,
        f.fill_kg::double as fill_kg,
        f.volume_l,
        coalesce(f.kind, '') as kind,
        b.dry_g::double as batch_dry_g,
        case
            when f.substrate_dry_kg is not null then 'weighed'
            when f.fill_kg is not null and b.dry_g is not null and b.substrate_wet_kg is not null then 'from fill'
        end as source,
        case
            when f.substrate_dry_kg is not null then f.substrate_dry_kg::double * 1000
            when f.fill_kg is not null
                then f.fill_kg::double * b.dry_g::double / (b.substrate_wet_kg + coalesce(b.spawn_kg, 0))::double
        end as dry_g
    from stage_fillings as f
    inner join filling_fates as fate on fate.file = f.file and fate.row = f.row
    inner join batches as b on b.batch = f.batch
    where fate.fate = 'loaded'
),
rest as (
    -- Sums of doubles depend on their order, so the sums of a batch are taken over decimals.
    select
        own.batch,
        min(own.batch_dry_g) - coalesce(sum(own.dry_g::decimal(28, 12)), 0)::double as left_g,
        bool_and(own.fill_kg is not null) filter (where own.source is null) as all_fill,
        sum(own.fill_kg::decimal(18, 6)) filter (where own.source is null) as sum_fill,
        bool_and(own.volume_l is not null) filter (where own.source is null) as all_volume,
        sum(own.volume_l::decimal(18, 6)) filter (where own.source is null) as sum_volume,
        count(distinct own.kind) filter (where own.source is null) as kinds,
        count(*) filter (where own.source is null) as others,
        coalesce(min(aside.rows_aside), 0) as rows_aside
    from own
    left join aside on aside.batch = own.batch
    group by own.batch
),
shared as (
    select
        own.file,
        own.row,
        own.batch,
        case
            when own.source is not null then own.source
            when rest.left_g is null or rest.left_g <= 0 or rest.rows_aside > 0 then null
            when rest.all_fill then 'by fill'
            when rest.all_volume then 'by volume'
            when rest.kinds = 1 then 'evenly'
        end as source,
        case
            when own.source is not null then own.dry_g
            when rest.all_fill then rest.left_g * own.fill_kg / rest.sum_fill::double
            when rest.all_volume then rest.left_g * own.volume_l / rest.sum_volume::double
            else rest.left_g / rest.others
        end as dry_g,
        own.batch_dry_g
    from own
    inner join rest on rest.batch = own.batch
),
refills as (
    select
        f.file,
        f.row,
        lead(b.inoculated_on) over (partition by f.container order by b.inoculated_on, f.batch) as refilled_on,
        lead(f.batch) over (partition by f.container order by b.inoculated_on, f.batch) as refilled_from
    from stage_fillings as f
    inner join filling_fates as fate on fate.file = f.file and fate.row = f.row
    inner join batches as b on b.batch = f.batch
    where fate.fate = 'loaded' and b.inoculated_on is not null
)
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
    b.inoculated_on,
    refills.refilled_on,
    refills.refilled_from,
    (case when shared.source is not null then shared.dry_g end)::decimal(28, 12) as dry_g,
    shared.source as dry_source,
    (case when shared.source is not null and shared.batch_dry_g > 0
        then b.substrate_wet_kg::double * 1000 * shared.dry_g / shared.batch_dry_g end)::decimal(28, 12) as wet_g,
    (case when shared.source is not null and shared.batch_dry_g > 0
        then b.spawn_kg::double * 1000 * shared.dry_g / shared.batch_dry_g end)::decimal(28, 12) as spawn_g,
    f.file,
    f.row
from stage_fillings as f
inner join shared on shared.file = f.file and shared.row = f.row
inner join batches as b on b.batch = f.batch
left join refills on refills.file = f.file and refills.row = f.row
order by f.batch, f.container
