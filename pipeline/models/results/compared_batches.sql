-- What went into each batch, for a comparison of its units: its soak, its spawn rate in % of the wet and of the dry
-- substrate (none for liquid spawn and plugs), the month of its inoculation, and its cells in the columns of group_by (see
-- batch_labels).
-- Grain: one row per batch.
-- reads: batch_labels, batches
-- writes: nothing
select
    l.batch_line,
    b.batch,
    b.soak_key,
    case
        when b.spawn_form is null or b.spawn_form not in ('liquid', 'plug')
            then 100 * b.spawn_kg::double / nullif(b.substrate_wet_kg::double, 0)
    end as spawn_rate_pct,
    case
        when b.spawn_form is null or b.spawn_form not in ('liquid', 'plug')
            then 100000 * b.spawn_kg::double / nullif(b.dry_g, 0)::double
    end as spawn_rate_dry_pct,
    coalesce(strftime(b.inoculated_on, '%Y-%m'), '') as month{batch columns of group_by}
from batch_labels as l
inner join batches as b on b.line = l.batch_line
order by l.batch_line
