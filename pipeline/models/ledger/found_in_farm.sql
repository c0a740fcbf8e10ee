-- What was found in whole rows beside all others of the farm, with the level that the contract gives.
-- Grain: one row per finding.
-- reads: row_rules, warn_entries, warn_ph, warn_weights
-- writes: found_in_farm
create or replace table found_in_farm as
with of_farm as (
    select table_name, file, row, rule, value, detail from warn_entries
    union all
    select table_name, file, row, rule, value, detail from warn_ph
    union all
    select table_name, file, row, rule, value, detail from warn_weights
)
select f.table_name, f.file, f.row, r.column_name, f.rule, r.level, f.value, f.detail
from of_farm as f
inner join row_rules as r on r.table_name = f.table_name and r.rule = f.rule
