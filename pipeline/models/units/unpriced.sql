-- For which things that growing takes or gives is no price written anywhere on the farm, be it in prices.csv or in
-- farm.toml? They count as nothing. item: of prices.csv, or of farm.toml the hours without which a price of work has
-- nothing to multiply. A supplement without a price is paid for as substrate.
-- Grain: one row per such thing.
-- reads: prices, unit_needs
-- writes: unpriced
create or replace temp view unpriced as
with wanted as (
    select distinct item from unit_needs where item <> 'supplement'
    union all
    select 'fresh'
),
priced as (
    select distinct item from prices where item <> 'fresh' or buyer is null
),
hours as (
    select unnest(['hours_per_container', 'hours_per_kg']) as item
)
select item
from wanted
where item not in (select item from priced) and getvariable('farm_prices')[item] is null
union all
select item
from hours
where 'work_hour' in (select item from priced) and getvariable('farm_prices')[item] is null
