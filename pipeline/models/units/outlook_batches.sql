-- Which batches are there to borrow from, running or planned? Also those of days to come: the outlook reads them.
-- number: from 0, in the order of days and names, whatever the order of rows. age counts days from inoculation.
-- containers: its fillings, else containers_filled; null where neither is known. Mass in kg.
-- Grain: one row per loaded batch with a day of inoculation, not before first_day.
-- reads: batches, fillings
-- writes: outlook_batches
create or replace temp table outlook_batches as
with filled as (
    select batch_line, count(*) as fillings from fillings group by batch_line
)
select
    row_number() over (order by b.inoculated_on, b.batch) - 1 as number,
    b.line as batch_line,
    b.batch,
    b.inoculated_on,
    coalesce(b.substrate, '') as substrate,
    coalesce(b.strain, '') as strain,
    b.dry_g::double / 1000 as dry_kg,
    coalesce(f.fillings, b.containers_filled) as containers
from batches as b
left join filled as f on f.batch_line = b.line
where b.inoculated_on >= getvariable('first_day')
