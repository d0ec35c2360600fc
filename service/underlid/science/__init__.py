"""Published relations only, one function each: values in, values out."""
