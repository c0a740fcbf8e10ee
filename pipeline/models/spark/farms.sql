-- What are the variables of each farm's ledger? The prices of farm.toml are lists of texts in the file, and a map here.
-- Grain: one row per site.
-- reads: farms_read
-- writes: farms
select *, map_from_arrays(price_items, price_texts) as farm_prices
from farms_read
