"use strict";
// The sliders, drawn into `place` from what a page or a panel of the notebook carries in `held`; both use this text.
const explorer = (held, place) => {
  if (!held || !place) return;

  // Numbers: sixteen bits each between a column's ends, column after column.
  const unpack = ({ low, step, data }) => {
    const bytes = Uint8Array.from(atob(data), (sign) => sign.charCodeAt(0));
    const rows = bytes.length / 2 / low.length;
    return low.map((start, k) => Float64Array.from({ length: rows }, (_, i) => {
      const at = 2 * (k * rows + i);
      return start + step[k] * (bytes[at] + 256 * bytes[at + 1]);
    }));
  };
  const scores = unpack(held.scores)[0];
  const readings = held.readings.filter((one) => !one.left).map((one) => ({
    ...one, coefficients: unpack(one.coefficients), ...Object.fromEntries(["scatter", "off", "beside"].filter((name) => name in one).map((name) => [name, unpack(one[name])[0]])),
    cuts: one.cuts && unpack(one.cuts), castings: one.castings && unpack(one.castings), terms: one.terms.map((term) => ({ ...term, values: unpack(term.values)[0] })),
  }));

  // The normal distribution function by its series about zero: G. Marsaglia, J. Stat. Software 11 (2004) 4.
  const normal = (x) => {
    if (x < -8) return 0;
    if (x > 8) return 1;
    let sum = x, term = x, before = 0;
    for (let n = 3; sum !== before; n += 2) { before = sum; term *= x * x / n; sum += term; }
    return 0.5 + sum * Math.exp(-0.5 * x * x - 0.91893853320467274178);
  };
  const quantile = (sorted, share) => {
    const at = share * (sorted.length - 1), low = Math.floor(at), high = Math.min(low + 1, sorted.length - 1);
    return sorted[low] + (at - low) * (sorted[high] - sorted[low]);
  };
  const average = (values) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const narrowed = (values, share) => { const middle = average(values); return values.map((value) => middle + share * (value - middle)); };

  // Between a reading and the scale on which its scatter is even.
  const ends = (one, room) => one.scale === "rise" ? [room, one.rise] : [one.low, one.high - one.low];
  const toLatent = (one, value, room) => {
    if (one.scale === "log") return Math.log(Math.max(value, 0));
    if (one.scale !== "share" && one.scale !== "rise") return value;
    const [low, width] = ends(one, room), share = Math.min(Math.max((value - low) / width, 0), 1);
    return Math.log(share) - Math.log1p(-share);
  };
  const toReading = (one, latent, room) => {
    if (one.scale === "log") return Math.exp(latent);
    if (one.scale !== "share" && one.scale !== "rise") return Math.min(Math.max(latent, one.low ?? -Infinity), one.high ?? Infinity);
    const [low, width] = ends(one, room);
    return low + width / (1 + Math.exp(-latent));
  };

  const index = Object.fromEntries(held.factors.map((factor, k) => [factor.name, k]));
  const means = (one, at) => {
    const mean = new Float64Array(scores.length);
    one.terms.forEach((term, k) => {
      let cell = 0;
      for (const name of term.factors) cell = cell * held.factors[index[name]].stops.length + at[index[name]];
      const value = term.values[cell], draws = one.coefficients[k];
      for (let i = 0; i < mean.length; i += 1) mean[i] += value * draws[i];
    });
    return mean;
  };
  const cut = (one, grade, i) => grade < 0 ? -Infinity : grade >= one.cuts.length ? Infinity : one.cuts[grade][i];
  const between = (mean, scatter, bounds) => mean.map((middle, i) => {
    const [low, high] = bounds(i);
    return normal((high - middle) / scatter[i]) - normal((low - middle) / scatter[i]);
  });
  const graded = (one, mean, scatter, first, last) => between(mean, scatter, (i) => [cut(one, first - 1, i), cut(one, last, i)]);

  const castingsNear = (one, at) => {
    if (!one.castings) return 0;
    const far = one.castings[0].map(() => 0);
    one.near.forEach(([name, near], k) => {
      const here = held.factors[index[name]].stops[at[index[name]]] / near;
      one.castings[k].forEach((there, i) => { far[i] += (there - here) ** 2; });
    });
    return far.reduce((sum, apart) => sum + Math.exp(-apart / 2), 0);
  };

  const evaluate = (at) => {
    const room = "room_temperature" in index ? held.factors[index.room_temperature].stops[at[index.room_temperature]] : 20;
    const every = new Float64Array(scores.length).fill(1), found = { aims: [], readings: {} };
    for (const one of readings) {
      const mean = means(one, at), said = { beyond: outside(one, at) };
      if (one.cuts) {
        said.grades = one.grades.map((_, grade) => average(graded(one, mean, one.scatter, grade, grade)));
      } else {
        const cast = mean.map((middle, i) => toReading(one, middle + one.scatter[i] * scores[i], room)).sort();
        [said.low, said.middle, said.high] = [0.05, 0.5, 0.95].map((share) => quantile(cast, share));
      }
      if (one.aim) {
        const low = one.aim.at_least === null ? -Infinity : toLatent(one, one.aim.at_least, room);
        const high = one.aim.at_most === null ? Infinity : toLatent(one, one.aim.at_most, room);
        const told = { cuts: one.cuts && one.cuts.map((cuts) => narrowed(cuts, one.narrowed)) };  // as `Fits.calibrated` and `ReadingFit.chances` say
        const scatter = one.scatter.map((sd) => one.narrowed * sd), wrong = one.beside.map((beside, i) => scatter[i] ** 2 - beside ** 2);
        const count = castingsNear(one, at), left = wrong.map((variance, i) => 1 / (1 + count * variance / one.beside[i] ** 2));
        const shaped = narrowed(mean, one.narrowed).map((middle, i) => middle + one.off[i] * Math.sqrt(left[i]));
        const sd = wrong.map((variance, i) => Math.sqrt(scatter[i] ** 2 - variance * left[i]));
        const met = one.cuts ? graded(told, shaped, sd, one.aim.at_least, one.aim.at_most) : between(shaped, sd, () => [low, high]);
        met.forEach((share, i) => { every[i] *= share; });
        found.aims.push({ words: one.words, aim: one.aim.words, met: average(met) });
      }
      found.readings[one.name] = said;
    }
    found.chance = average(every);
    every.sort();
    found.low = quantile(every, 0.05);
    found.high = quantile(every, 0.95);
    found.aims.sort((one, other) => one.met - other.met);
    return found;
  };

  // What lies outside the pours a reading rests on: pairs of what is missing there and the setting, both in words.
  const outside = (one, at) => {
    if (one.unread) return [[one.unread, ""]];
    return Object.entries(one.poured).flatMap(([name, read]) => {
      const factor = held.factors[index[name]], value = factor.stops[at[index[name]]];
      const beyond = (range) => !range || value < range[0] || value > range[1];
      if (!beyond(read)) return [];
      const [missing, did, words] = beyond(factor.poured) ? ["nothing was poured", "poured", factor.poured[2]] : [`no ${one.words} was read`, "read", read[2]];
      const where = factor.yes ? `${value ? "with" : "without"} ${factor.words}` : `at ${factor.words} ${show(value, factor.unit)} (${did} ${words})`;
      return [[missing, where]];
    });
  };

  // Words.
  const digits = (value, count) => Math.abs(value) >= 1000 ? value.toFixed(0) : String(Number(value.toPrecision(count))).replace("-", "\u2212");
  const few = (value) => (Math.abs(value) < 9.95 ? String(Number(value.toPrecision(2))) : value.toFixed(0)).replace("-", "\u2212");
  const show = (value, unit) => digits(value, 3) + unit;
  const inHundred = (chance) => chance < 0.005 ? "under 1" : chance > 0.995 ? "over 99" : (100 * chance).toFixed(0);
  const make = (tag, text, given) => Object.assign(document.createElement(tag), { textContent: text || "" }, given || {});
  const part = (name) => place.querySelector(`[data-part="${name}"]`);
  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

  const missing = held.readings.some((one) => one.left && one.aim);
  const untold = (found) => found.high - found.low > held.untold;
  const verdict = (found) => {
    if (missing) return "A reading with an aim cannot be worked out on this page, so no chance is given.";
    if (!found.aims.length) return "This study states no aim, so nothing can be called good.";
    const [low, high] = [inHundred(found.low), inHundred(found.high)];
    const about = inHundred(found.chance), sure = low === high ? "" : ` (90 % interval ${low} to ${high})`;
    return untold(found)
      ? `Cannot tell yet: anything from ${low} to ${high} in 100 castings may be good.`
      : `${about.includes(" ") ? capital(about) : `About ${about}`} in 100 castings should be good${sure}.`;
  };
  const limiting = (found) => {
    const { aims } = found, often = (one) => untold(found) ? "" : ` (meets its aim in ${inHundred(one.met)} of 100)`;
    const poor = aims.filter((one) => one.met < 0.95).slice(0, 3).map((one) => one.words + often(one));
    if (!aims.length) return "";
    return poor.length ? `What limits it: ${poor.join(", then ")}.` : "No aim limits it: each is met in 95 of 100 or more.";
  };
  const broken = (name, value) => ["low", "high"].flatMap((way) => {
    const hit = held.limits.filter((one) => one.name === name && (way === "low") === (one.side === "below")
      && (one.side === "below" ? value < one.bound - 1e-9 : one.side === "above" ? value > one.bound + 1e-9 : value >= one.bound - 1e-9));
    hit.sort((one, other) => way === "low" ? other.bound - one.bound : one.bound - other.bound);
    return hit.slice(-1).map((one) => `${one.words} ${show(value, one.unit)} is ${one.side === "from" ? "at or above" : one.side} ${show(one.bound, one.unit)}. ${one.says}`);
  });
  const cautions = (found, at) => [
    ...held.factors.flatMap((factor, k) => factor.yes ? [] : broken(factor.name, factor.stops[at[k]])),
    ...readings.flatMap((one) => one.cuts ? [] : broken(one.name, found.readings[one.name].middle)),
  ];

  // The sliders.
  const at = held.starts.length ? [...held.starts[0].at] : held.factors.map((factor) => factor.usual);
  const inputs = held.factors.map((factor, k) => {
    if (factor.stops.length < 2) return null;
    const row = make("div", "", { className: factor.yes ? "slider switch" : "slider" }), label = make("label"), output = make("output");
    const input = make("input", "", { id: `${place.dataset.mark || "set"}-${k}`, type: factor.yes ? "checkbox" : "range" });
    label.htmlFor = output.htmlFor = input.id;
    label.append(make("bdi", capital(factor.words)));
    if (factor.yes) input.setAttribute("role", "switch");
    else Object.assign(input, { min: 0, max: factor.stops.length - 1, step: 1 });
    input.dataset.factor = factor.name;
    input.addEventListener("input", () => {
      at[k] = factor.yes ? Number(input.checked) : Number(input.value);
      if (factor.yes && at[k]) held.choices.filter((choice) => choice.includes(k)).flat().forEach((other) => { if (other !== k) at[other] = 0; });
      draw();
    });
    row.append(label, output, input);
    if (!factor.yes) row.append(track(factor));
    part("sliders").append(row);
    return { input, output, factor };
  });
  function track(factor) {
    const shown = make("div", "", { className: "track" }), range = Object.values(held.readings).map((one) => one.poured[factor.name]).filter(Boolean);
    const inside = factor.stops.map((stop) => range.some(([low, high]) => stop >= low && stop <= high));
    const first = inside.indexOf(true), last = inside.lastIndexOf(true), count = factor.stops.length - 1;
    shown.setAttribute("aria-hidden", "true");
    if (first >= 0) {
      const poured = make("span");
      poured.style.left = `${100 * first / count}%`;
      poured.style.width = `${Math.max(100 * (last - first) / count, 1.5)}%`;
      shown.append(poured);
    }
    return shown;
  }
  if (held.starts.length) part("starts").append("Start from the recommended settings:");
  for (const start of held.starts) {
    const button = make("button", start.words, { type: "button" });
    button.addEventListener("click", () => { start.at.forEach((stop, k) => { at[k] = stop; }); draw(); });
    part("starts").append(button);
  }

  // The readings: a bar for each, the aim behind it.
  const position = (one, value) => {
    const [low, high] = one.scale === "log" ? one.ends.map(Math.log) : one.ends;
    return Math.min(Math.max(100 * ((one.scale === "log" ? Math.log(value) : value) - low) / (high - low), 0), 100);
  };
  const stretch = (one, className, low, high) => {
    const shown = make("span", "", { className });
    shown.style.left = `${position(one, low)}%`;
    shown.style.width = `${Math.max(position(one, high) - position(one, low), 0.8)}%`;
    return shown;
  };
  const rows = readings.map((one) => {
    const row = make("li"), title = make("strong"), says = make("span"), bar = make("div", "", { className: one.cuts ? "bar grades" : "bar" });
    title.append(make("bdi", capital(one.words) + one.at));
    bar.setAttribute("aria-hidden", "true");
    row.dataset.reading = one.name;
    const lines = make("p");
    lines.append(title, ": ", says);
    row.append(lines, bar);
    if (one.aim) row.append(make("p", `Aim: ${one.aim.words}`, { className: "aim-words" }));
    part("readings").append(row);
    return { one, row, says, bar };
  });
  const described = (one, said) => {
    if (!one.cuts) return `about ${few(said.middle)}${one.unit}, nine castings in ten between ${few(said.low)} and ${few(said.high)}${one.unit}`;
    const shares = one.grades.map((words, grade) => [words, said.grades[grade]]).filter(([, share]) => share >= 0.005);
    return `in 100 castings, ${shares.map(([words, share]) => `${inHundred(share)} ${words}`).join(", ")}`;
  };
  const drawBar = ({ one, bar }, said) => {
    bar.replaceChildren();
    if (one.cuts) {
      let start = 0;
      said.grades.forEach((share, grade) => {
        const good = one.aim && grade >= one.aim.at_least && grade <= one.aim.at_most;
        const shown = make("span", "", { className: !one.aim ? "plain" : good ? "good" : "bad" });
        shown.style.left = `${100 * start}%`;
        shown.style.width = `${100 * share}%`;
        bar.append(shown);
        start += share;
      });
      return;
    }
    if (one.aim) bar.append(stretch(one, "aim", one.aim.at_least ?? one.ends[0], one.aim.at_most ?? one.ends[1]));
    bar.append(stretch(one, "range", said.low, said.high), stretch(one, "middle", said.middle, said.middle));
  };

  function draw() {
    const found = evaluate(at);
    inputs.forEach((row, k) => {
      if (!row) return;
      const value = row.factor.stops[at[k]], words = row.factor.yes ? (value ? "yes" : "no") : show(value, row.factor.unit);
      if (row.factor.yes) row.input.checked = Boolean(value);
      else { row.input.value = at[k]; row.input.setAttribute("aria-valuetext", words); }
      row.output.textContent = words;
    });
    const judged = readings.filter((one) => one.aim || !held.readings.some((any) => any.aim));
    const beyond = new Map();
    for (const [missing, where] of judged.flatMap((one) => found.readings[one.name].beyond)) beyond.set(missing, (beyond.get(missing) ?? new Set()).add(where));
    const why = [...beyond].map(([missing, where]) => [missing, [...where].filter(Boolean).join(" or ")].filter(Boolean).join(" ")).join("; ");
    part("verdict").textContent = verdict(found);
    part("limits").textContent = limiting(found);
    part("beyond").textContent = why ? `Grey, because ${why}. Take it as a guess and try one pour first.` : "";
    place.classList.toggle("beyond", beyond.size > 0);
    for (const row of rows) {
      const said = found.readings[row.one.name];
      row.says.textContent = described(row.one, said);
      row.row.classList.toggle("beyond", said.beyond.length > 0);
      Object.assign(row.row.dataset, { middle: said.middle ?? "", low: said.low ?? "", high: said.high ?? "", grades: (said.grades ?? []).join(" ") });
      drawBar(row, said);
    }
    part("cautions").replaceChildren(...cautions(found, at).map((text) => make("li", text)));
    Object.assign(place.dataset, { chance: missing ? "" : found.chance, low: found.low, high: found.high, limits: found.aims.map((one) => one.words).join("|") });
  }
  for (const one of held.readings.filter((any) => any.left)) part("readings").append(make("li", `${capital(one.words)}: ${one.left}`));
  place.hidden = false;
  draw();
};
{
  const data = document.getElementById("explorer-data"), place = document.getElementById("explorer");
  if (data && place) explorer(JSON.parse(data.textContent), place);
}
