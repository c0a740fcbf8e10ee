-- What is promised to whom, for which day, and how often again?
-- Grain: one row per loaded promise.
-- reads: rejected_books, rows_of_promises
-- writes: promises
create or replace table promises as
select
    {columns of promises as p},
    p.file,
    p.row,
    p.line
from rows_of_promises as p
anti join rejected_books as r on r.line = p.line
where not p.faulty
