-- Which cell would give dry mass to units that have none, and to how many?
-- Grain: one row per cell that is missing or to be mended.
with without as (
    select unit, batch_line, batch, container from unit_states where dry_g is null
),
aside as (
    select batch, arg_min(file, (file, row)) as file, arg_min(row, (file, row)) as row
    from fillings_aside
    group by batch
),
blamed as (
    select
        case
            when b.dry_g is null then b.file
            when f.batch is null then b.file
            when a.file is not null then a.file
            when f.fill_kg is null then f.file
            else b.file
        end as file,
        case
            when b.dry_g is null or f.batch is null then b.row
            when a.file is not null then a.row
            when f.fill_kg is null then f.row
            else b.row
        end as row,
        case
            when b.dry_g is null and b.substrate_wet_kg is not null then 'moisture_pct'
            when b.dry_g is null and b.moisture_pct is not null then 'substrate_wet_kg'
            when b.dry_g is null then 'substrate_dry_kg'
            when a.file is not null then 'container'
            when f.fill_kg is null then 'fill_kg'
            else 'substrate_wet_kg'
        end as column_name,
        w.unit
    from without as w
    inner join batches as b on b.line = w.batch_line
    left join fillings as f on f.line = w.unit
    left join aside as a on a.batch = w.batch
)
select file, row, column_name, count(*) as units
from blamed
group by file, row, column_name
order by units desc, file, row
