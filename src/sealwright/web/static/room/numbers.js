// Numbers as people write them, made into whole thousandths; what is not clearly one number is refused with the mend.

const PLAIN = /^\d+([.,]\d+)?$/, GROUPED = /^\d{1,3}([ \u00a0\u202f]\d{3})+([.,]\d+)?$/;
const BOTH = /^\d{1,3}(,\d{3})+\.\d+$|^\d{1,3}(\.\d{3})+,\d+$/, EITHER = /^[1-9]\d{0,2},\d{3}$/;
const MOST = 1e9;

// Returns {milli} or {wrong}. `least`: the smallest that makes sense, in thousandths.
export function thousandths(text, least = 0) {
  const said = String(text ?? "").trim();
  if (!said) return { wrong: "Empty: type a number" };
  if (EITHER.test(said)) {
    return { wrong: `${said} may be ${said.replace(",", "")} or ${said.replace(",", ".")}: write it without the comma, or with a point` };
  }
  if (/^[-−]/.test(said)) return { wrong: `${said} is below zero: type what the instrument shows` };
  if (!PLAIN.test(said) && !GROUPED.test(said) && !BOTH.test(said)) {
    return { wrong: `“${said.slice(0, 20)}” is no number: digits, and a point or comma for decimals` };
  }
  const bare = said.replace(/[ \u00a0\u202f]/g, ""), at = Math.max(bare.lastIndexOf("."), bare.lastIndexOf(","));
  const whole = (at < 0 ? bare : bare.slice(0, at)).replace(/[.,]/g, ""), part = at < 0 ? "" : bare.slice(at + 1);
  const milli = Math.round(Number(`${whole}.${part || 0}`) * 1000);
  if (milli > MOST * 1000) return { wrong: `${said} is more than any instrument shows` };
  if (milli < least) return { wrong: `${said} is too small: type what the instrument shows` };
  return { milli };
}

// Thousandths as they stand in a field.
export const fieldText = (milli) => (milli === undefined || milli === null ? "" : String(milli / 1000));

// Pasted text as rows of up to `most` numbers: {rows: [[text…]]} or {wrong}. A first line without a digit is a heading.
export function pastedRows(text, most) {
  const lines = text.replace(/\r\n?/g, "\n").split("\n").map((line, i) => ({ line: line.trim(), n: i + 1 })).filter((l) => l.line);
  if (lines.length > 1 && !/\d/.test(lines[0].line)) lines.shift();
  const rows = [];
  for (const { line, n } of lines) {
    const cells = line.split(/[\t;]|\s+/).map((c) => c.trim()).filter(Boolean);
    const wrong = cells.map((c) => thousandths(c).wrong).find(Boolean);
    if (wrong) return { wrong: `Line ${n}: ${wrong}` };
    if (cells.length > most) return { wrong: `Line ${n}: ${cells.length} numbers; at most ${most} a line` };
    rows.push(cells);
  }
  if (!rows.length) return { wrong: "Nothing pasted that could be read: one line for each exercise" };
  const odd = rows.findIndex((r) => r.length !== rows[0].length);
  if (odd > 0) return { wrong: `Line ${lines[odd].n}: ${rows[odd].length} numbers where the first line has ${rows[0].length}` };
  return { rows };
}
