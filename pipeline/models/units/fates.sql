-- What became of each unit; or of each filling, where the groups are of fillings (variable of_fillings)?
-- Grain: one row per unit, or per filling.
-- reads: filling_fates, unit_fates
-- writes: fates
create or replace temp table fates as
select unit, batch_line, soak_key, finished, picked, contaminated, contaminated_before_pick, cause
from unit_fates
where not getvariable('of_fillings')
union all
select unit, batch_line, soak_key, finished, picked, contaminated, contaminated_before_pick, cause
from filling_fates
where getvariable('of_fillings')
