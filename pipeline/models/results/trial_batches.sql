-- How large was the biological efficiency of each finished container of a batch, and out of which soak and recipe did it
-- come? be_pct: fresh over dry substrate mass x 100 of each, all flushes, in the order of containers; one lost counts with
-- what it gave. Batches weighed together tell nothing of their containers and are in no row. soak_key: its soak, or its
-- own batch. recipe: what was put in, spawn over wet substrate in whole % at its end.
-- Grain: one row per batch with a finished filling with dry mass, that was not weighed together.
-- reads: batches, unit_states
-- writes: nothing
with told as (
    select batch_line, list(100 * fresh_g::double / dry_g::double order by container) as be_pct
    from unit_states
    where finished and container is not null and dry_g > 0
    group by batch_line
)
select
    b.soak_key,
    b.batch,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.strain, '') as strain,
    concat_ws(
        ' | ',
        coalesce(b.substrate, ''),
        coalesce(b.strain, ''),
        coalesce(b.treatment, ''),
        coalesce(b.spawn_form, ''),
        coalesce(b.supplement, ''),
        coalesce(round(100 * b.spawn_kg::double / nullif(b.substrate_wet_kg::double, 0))::integer::varchar, '')
    ) as recipe,
    t.be_pct
from told as t
inner join batches as b on b.line = t.batch_line
order by soak_key, b.batch
