-- The first ten of a list of texts, and how many more there are: a million rows that are alike are not named in each.
-- Grain: one row of text per list.
-- reads: nothing
-- writes: some_of
create macro some_of(names) as
    array_to_string(names[1:10], '; ') || case when len(names) > 10 then '; and ' || (len(names) - 10) || ' more' else '' end
