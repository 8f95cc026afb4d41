(comment) @comment
(string) @string
(key) @property
(unit) @type.builtin
(number) @number
(count) @number
(date) @number
(unknown) @keyword
(origin) @attribute
(pin) @attribute
(operator) @operator
(bound) @operator
["|" ","] @punctuation.delimiter
["{" "}" "(" ")" "[" "]"] @punctuation.bracket
["use" "define" "as" "parameter" "no" "departure" "from"] @keyword
(block kind: (word) @type)
(define kind: (word) @type)
(none kind: (word) @type)
(block name: (word) @variable)
(define name: (word) @variable)
(product name: (word) @constant)
(departure rule: (word) @constant)
