-- What is known of each batch? Masses in kg as entered; dry_g in g. dry_g: weighed dry, else wet x (1 - moisture); plus
-- the dry supplement. Spawn is not in it. soak_key: the soak it came out of; without a name it is its own soak, but that
-- nameless ones of one day and one recipe (spawn in whole % of the wet substrate) share that of the first by name.
-- Grain: one row per loaded batch.
-- reads: batch_faults, rows_of_batches
-- writes: batches
create or replace table batches as
with counted as not materialized (
    select b.* from rows_of_batches as b anti join batch_faults as q on q.line = b.line
),
nameless as (
    select
        line,
        min(batch) over (
            partition by
                coalesce(inoculated_on::varchar, 'batch ' || batch),
                round(100 * spawn_kg::double / nullif(substrate_wet_kg::double, 0)),
                {recipe of batches as b}
        ) as first_batch
    from counted as b
    where soak is null
)
select
    {columns of batches as b},
    try_cast(1000 * (
        coalesce(b.substrate_dry_kg::double, b.substrate_wet_kg::double * (100 - b.moisture_pct) / 100)
        + coalesce(b.supplement_dry_kg::double, 0)
    ) as decimal(18, 9)) as dry_g,
    coalesce('soak ' || b.soak, 'batch ' || n.first_batch) as soak_key,
    b.file,
    b.row,
    b.line
from counted as b
left join nameless as n on n.line = b.line
