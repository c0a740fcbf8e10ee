-- Which units have labels? With of_fillings the fillings themselves, also those of batches weighed as a whole.
-- Grain: one row per unit, or per filling.
-- reads: batches, fillings, units
-- writes: labelled_units
create or replace temp view labelled_units as
select unit, batch_line, container
from units
where not getvariable('of_fillings')
union all
select f.line as unit, f.batch_line, f.container
from fillings as f
inner join batches as b on b.line = f.batch_line
where getvariable('of_fillings') and (b.inoculated_on is null or b.inoculated_on <= getvariable('as_of'))
