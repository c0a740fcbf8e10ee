-- At which age did each container end? closed_age: days from inoculation to the day it was contaminated, emptied or
-- refilled; null while none is noted.
-- Grain: one row per place: a filling, or a batch without filling rows.
-- reads: closings, fillings, outlook_batches
-- writes: outlook_containers
create or replace temp table outlook_containers as
with containers as (
    select b.number, b.batch_line, b.inoculated_on, f.line as filling_line, f.container
    from outlook_batches as b
    left join fillings as f on f.batch_line = b.batch_line
)
select
    row_number() over (order by p.number, p.container) - 1 as place,
    p.number,
    p.batch_line,
    p.filling_line,
    c.closed_on - p.inoculated_on as closed_age
from containers as p
left join closings as c
    on c.batch_line = p.batch_line
    and c.filling_line is not distinct from p.filling_line
