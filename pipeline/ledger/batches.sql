-- What is known of each batch? Masses in kg as entered; dry_g in g.
-- dry_g: weighed dry, else wet x (1 - moisture); plus the dry supplement. Spawn is not in it.
-- Grain: one row per loaded batch.
create or replace table batches as
with dry as (
    select
        file,
        row,
        coalesce(
            substrate_dry_kg::double,
            substrate_wet_kg::double * (100 - moisture_pct) / 100
        ) + coalesce(supplement_dry_kg::double, 0) as dry_kg
    from stage_batches
)
select
    b.batch,
    b.inoculated_on,
    b.strain,
    b.substrate,
    b.species,
    coalesce(b.soak, 'batch ' || b.batch) as soak_unit,
    b.soak,
    b.treatment,
    b.treatment_h,
    b.lime_g_per_l,
    b.ph_start,
    b.ph_end,
    b.drain_h,
    b.substrate_wet_kg,
    b.moisture_pct,
    b.substrate_dry_kg,
    b.dry_basis,
    b.supplement,
    b.supplement_dry_kg,
    b.spawn_form,
    b.spawn_kg,
    b.spawn_lot,
    b.incubation_c,
    b.containers_filled,
    b.note,
    (dry.dry_kg * 1000)::decimal(28, 12) as dry_g,
    b.file,
    b.row
from stage_batches as b
inner join batch_fates as fate on fate.file = b.file and fate.row = b.row
inner join dry on dry.file = b.file and dry.row = b.row
where fate.fate = 'loaded'
order by b.batch
