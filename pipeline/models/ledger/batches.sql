-- What is known of each batch? Masses in kg as entered; dry_g in g.
-- dry_g: weighed dry, else wet x (1 - moisture); plus the dry supplement. Spawn is not in it.
-- Grain: one row per loaded batch.
create or replace table batches as
select
    b.batch,
    b.inoculated_on,
    b.strain,
    b.substrate,
    b.species,
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
    try_cast(1000 * (
        coalesce(b.substrate_dry_kg::double, b.substrate_wet_kg::double * (100 - b.moisture_pct) / 100)
        + coalesce(b.supplement_dry_kg::double, 0)
    ) as decimal(18, 9)) as dry_g,
    b.file,
    b.row,
    b.line
from rows_of_batches as b
anti join batch_faults as q on q.line = b.line
