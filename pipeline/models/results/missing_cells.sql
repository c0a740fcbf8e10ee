-- Which cell would make more numbers possible, and for how many units? number: BE (no dry mass), days (no day of
-- inoculation), spawn rate (no spawn mass), yield on wet (no wet mass).
-- Grain: one row per number and cell that is missing or to be mended.
-- reads: batches, rejected_fillings, rows_of_fillings, unit_states
-- writes: nothing
with found as (
    select
        s.unit,
        s.dry_g,
        s.wet_g,
        b.file as batch_file,
        b.row as batch_row,
        b.batch,
        b.inoculated_on,
        b.dry_g as batch_dry_g,
        b.substrate_wet_kg,
        b.moisture_pct,
        b.spawn_kg,
        b.spawn_form,
        f.file as filling_file,
        f.row as filling_row,
        f.fill_kg
    from unit_states as s
    inner join batches as b on b.line = s.batch_line
    left join rows_of_fillings as f on f.line = s.unit
),
rejected as (
    select batch, arg_min(file, (file, row)) as file, arg_min(row, (file, row)) as row
    from rejected_fillings
    group by batch
),
weightless as (
    -- The batch's own cell comes first: it frees all its fillings at once.
    select
        t.unit,
        case
            when t.batch_dry_g is null or t.filling_file is null then 'batch'
            when a.file is not null then 'rejected'
            when t.fill_kg is null then 'filling'
            else 'batch'
        end as owner,
        case
            when t.batch_dry_g is null and t.substrate_wet_kg is not null then 'moisture_pct'
            when t.batch_dry_g is null and t.moisture_pct is not null then 'substrate_wet_kg'
            when t.batch_dry_g is null then 'substrate_dry_kg'
            when a.file is not null then 'container'
            when t.fill_kg is null then 'fill_kg'
            else 'substrate_wet_kg'
        end as column_name,
        t.batch_file,
        t.batch_row,
        t.filling_file,
        t.filling_row,
        a.file as rejected_file,
        a.row as rejected_row
    from found as t
    left join rejected as a on a.batch = t.batch
    where t.dry_g is null
),
blamed as (
    select
        'BE' as number,
        case owner when 'batch' then batch_file when 'rejected' then rejected_file else filling_file end as file,
        case owner when 'batch' then batch_row when 'rejected' then rejected_row else filling_row end as row,
        column_name,
        unit
    from weightless
    union all
    select 'days', batch_file, batch_row, 'inoculated_on', unit from found where inoculated_on is null
    union all
    select 'spawn rate', batch_file, batch_row, 'spawn_kg', unit
    from found
    where spawn_kg is null and (spawn_form is null or spawn_form not in ('liquid', 'plug'))
    union all
    select 'yield on wet', batch_file, batch_row, 'substrate_wet_kg', unit
    from found
    where dry_g is not null and wet_g is null and substrate_wet_kg is null
)
select
    number,
    case when column_name in ('container', 'fill_kg') then 'fillings' else 'batches' end as table_name,
    file,
    row,
    column_name,
    count(*) as units
from blamed
group by number, file, row, column_name
order by case number when 'BE' then 0 else 1 end, units desc, file, row, number
