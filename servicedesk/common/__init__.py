"""Django-side helpers every room may use: ids, units, money, forms, jobs, mail, drawings, documents."""
