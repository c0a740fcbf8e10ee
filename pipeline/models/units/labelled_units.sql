-- Which units have labels? With of_fillings the fillings themselves, also those of batches weighed as a whole.
-- Grain: one row per unit, or per filling.
-- reads: filling_shares, units
-- writes: labelled_units
create or replace temp view labelled_units as
select unit, batch_line, whole
from units
where not getvariable('of_fillings')
union all
select line, batch_line, false
from filling_shares
where getvariable('of_fillings') and (inoculated_on is null or inoculated_on <= getvariable('as_of'))
