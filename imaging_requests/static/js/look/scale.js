// What scale and position rest on, in words; of many pictures the summary.

const MOST_SENTENCES = 2;

export function restsOn(pictures) {
  const sentences = [...new Set(pictures.map((each) => each.restsOn))];
  if (sentences.length <= MOST_SENTENCES) {
    return `Scale and position. ${sentences.join(" ")}`;
  }
  const errors = pictures.map((each) => each.errorMm).filter((each) => each !== null);
  const count = pictures.length;
  const measured = errors.length
    ? `${errors.length} of ${count} pictures are placed by measurement, the worst to ${Math.max(...errors).toPrecision(2)} mm`
    : `None of ${count} pictures is placed by measurement`;
  const rest =
    errors.length === count ? "" : "; the others by planned density and margins, which is not measured";
  return `Scale and position. ${measured}${errors.length ? rest : ", only by planned density and margins"}.`;
}
