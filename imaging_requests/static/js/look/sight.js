// The view as it stands in an address; the same words as the server reads.

function plain(value) {
  return String(Number(value.toFixed(4)));
}

export function asQuery(sight) {
  const query = new URLSearchParams();
  query.set("face", sight.face);
  if (sight.mode !== "one") {
    query.set("mode", sight.mode);
  }
  for (const { id, ev } of sight.pictures) {
    query.append("p", ev === null ? String(id) : `${id}:${plain(ev)}`);
  }
  if (sight.centre) {
    query.set("x", plain(sight.centre[0]));
    query.set("y", plain(sight.centre[1]));
    query.set("across", plain(sight.across));
  }
  if (sight.mix !== 50) {
    query.set("mix", plain(sight.mix));
  }
  if (sight.inverted) {
    query.set("inverted", "1");
  }
  if (sight.measure) {
    query.set("measure", sight.measure.map(plain).join(","));
  }
  if (sight.note !== null) {
    query.set("note", String(sight.note));
  }
  if (!sight.notes) {
    query.set("notes", "0");
  }
  return query.toString();
}
