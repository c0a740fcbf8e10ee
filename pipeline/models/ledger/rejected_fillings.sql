-- Which filling rows of a batch are not loaded, so that what they hold is not known? (A repeated row holds nothing.)
-- Grain: one row per staged row of fillings that is set aside or waits, names its batch and does not repeat another.
-- reads: filling_faults
-- writes: rejected_fillings
create or replace table rejected_fillings as
select line, batch, file, row
from filling_faults
where batch is not null and rule is distinct from 'repeated'
