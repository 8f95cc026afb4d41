/**
 * The design language as editors colour and fold it. It takes every sound text; what a word means, and whether it may
 * stand where it stands, is what the server says. The language itself is grammar/design.pest.
 * A new line ends an entry, so it is a token here; facts may also stand one behind the other on a line.
 */
/// <reference types="tree-sitter-cli/dsl" />
// @ts-check

const LETTER = '\\p{L}', MORE = '[\\p{L}\\p{M}\\d_]';
const WORD = `[${LETTER}_]${MORE}*(-${MORE}+)*`;
// The units that stand in grammar/design.pest.
const UNIT = '([µμu]ohm|[mkMG]?ohm|kA²s|kA2s|A²s|A2s|kcmil|cmil|MCM|AWG|kvar|var|deg[CF]|[mck]?m[23²³]?|min|k?Hz|[kM]?VA|[kM]?Wh|lbf|bar|k?Pa|[µμumkMG]?[ΩΩ]|[µμumk]?A|Ah|[mk]?V|in|kft|ft|[mµμu]?s|[mkM]?W|hp|k?J|k?g|lb|k?N|Nm|lx|m?H|[µμun]?F|h|d|a|K|%|‰|°[CF]?)[²³]?';

/** @param {GrammarSymbols<string>} $ */
const lines = $ => seq(optional($._line), repeat(seq($._end, optional($._line))));

module.exports = grammar({
  name: 'amperule',

  extras: $ => [/[ \t\u00A0\u202F\u2009]/, $.comment],
  word: $ => $.word,

  rules: {
    source_file: $ => lines($),

    _line: $ => choice($.use, $.define, $.parameter, $.none, $.departure, repeat1(choice($.fact, $.block))),
    _end: _ => /\r\n|\n|\r/,

    use: $ => seq('use', $.string),
    define: $ => seq('define', field('name', $.word), 'as', field('kind', $.word), $.body),
    parameter: $ => seq('parameter', $.key, optional($._value)),
    none: $ => seq('no', field('kind', $.word)),
    departure: $ => seq('departure', 'from', field('rule', $.word), $.body),

    // With brackets, or a row of values without them: `bond water 10 mm² metal`.
    block: $ => prec.right(seq(
      field('kind', $.word),
      optional(seq(choice(field('name', $.word), $._other), repeat($._item))),
      optional($.body),
    )),
    body: $ => seq('{', lines($), '}'),

    fact: $ => prec.right(seq($.key, optional($._value))),
    _value: $ => prec.right(seq($._element, repeat(seq(choice('|', ','), repeat($._end), $._element)))),
    _element: $ => prec.right(choice(seq(repeat1($._item), optional(field('part', $.body))), $.body)),

    _item: $ => choice($.word, $._other),
    _other: $ => choice($.quantity, $.count, $.date, $.string, $.unknown, $.origin, $.bound, $.pin, $.product, $.group, $.index, $.step, $._operation),
    _operation: $ => prec.right(seq($.operator, repeat($._end))),
    operator: _ => choice('..', '±', '+-', '+/-', '+', '-', '*', '/'),
    product: $ => seq('as', field('name', $.word)),
    group: $ => seq('(', repeat(choice($._item, $.body, '|', ',', $._end)), ')'),
    index: $ => seq('[', repeat(choice($.word, $.quantity, $.operator)), ']'),

    quantity: $ => prec.right(seq($.number, optional($.unit))),
    number: _ => /-?\d+(\.\d+)?(\/\d+(\.\d+)?)?([eE][+-]?\d+)?/,
    // Before `word`: of two tokens of one length the first is taken.
    unit: _ => new RegExp(`/?${UNIT}([·⋅/]${UNIT})*`),
    // With its colon, which tells it from a value that goes on.
    key: _ => new RegExp(`${WORD}[ \\t]*:`),
    word: _ => new RegExp(WORD),
    // `2-pole`
    count: _ => new RegExp(`\\d+-[${LETTER}]${MORE}*(-${MORE}+)*`),
    step: _ => new RegExp(`\\.${WORD}`),
    date: _ => /\d{4}-\d{2}-\d{2}/,
    string: _ => /"([^"\\\r\n]|\\[^\r\n])*"/,
    unknown: _ => '?',
    origin: _ => /\([ \t]*(measured|calculated|by-enquiry|declared|assumed|required)[ \t]*\)/,
    bound: _ => choice('<=', '>=', '≤', '≥', '<', '>', /at[ \t]+(most|least)/),
    pin: _ => /@[ \t]*[0-9a-fA-F]+/,
    comment: _ => /#[^\r\n]*/,
  },
});
