-- How many days was it from inoculation to the first pins of each unit?
-- Grain: one row per unit with both days noted, up to the as-of date.
-- reads: unit_states, unit_waits
-- writes: nothing
select s.batch, w.days::double as inoculated_to_pins
from unit_waits as w
inner join unit_states as s on s.unit = w.unit
where w.wait = 'inoculated_to_pins' and w.days is not null
