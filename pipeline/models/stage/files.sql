-- The files of the farm as a refresh found them: what each holds, how it stands (answers.FileStatus), and what is wrong
-- with one that is not there to be read. file_part: the number by which the lines of its rows begin.
-- Grain: one row per file and input table.
-- reads: nothing
-- writes: files
create table files (
    table_name varchar,
    file varchar,
    file_part ubigint primary key,
    content_hash varchar,
    rows_in integer,
    rows_blank integer,
    status varchar,
    problem varchar
)
