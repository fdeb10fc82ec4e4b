def test_a_line_break_of_either_kind_inside_a_cell_is_quoted():
    from growthcast.book.writing.source import new_source

    assert new_source("tanks").joined(["a\rb", "c\nd", "plain"]) == '"a\rb","c\nd",plain'
