-- What does a picking of one container usually weigh on the farm, in g? The median, the lower of two in the middle, as
-- warn_weights.sql has it.
-- Grain: one row; none where too few pickings are known.
-- reads: harvest_assignments
-- writes: nothing
select quantile_disc(fresh_weight_g, 0.5)::double as usual_g
from harvest_assignments
where filling_line is not null
having count(*) >= getvariable('least_pickings')
