// Scales a published recipe: exact whole numbers, so that the weights are those of the workshop to the last digit.
(() => {
  const data = JSON.parse(document.getElementById("recipe-data").textContent);
  const decimal = (text) => {
    const [whole, part = ""] = text.split(".");
    return { digits: BigInt(whole + part), places: part.length };
  };
  const raise = (one, places) => one.digits * 10n ** BigInt(places - one.places);
  const common = (texts) => {
    const read = texts.map(decimal);
    const places = Math.max(...read.map((one) => one.places));
    return { values: read.map((one) => raise(one, places)), places };
  };
  const written = (value, places) => {
    const sign = value < 0n ? "-" : "";
    const digits = String(value < 0n ? -value : value).padStart(places + 1, "0");
    return places ? `${sign}${digits.slice(0, -places)}.${digits.slice(-places)}` : sign + digits;
  };

  // Returns the weights as text, with the decimals of the finer of size and step.
  function weigh(percents, filling, lossText, netText, stepText) {
    const shares = common(percents).values;
    const total = shares.reduce((sum, one) => sum + one, 0n);
    const { values: [net, step], places } = common([netText, stepText]);
    const loss = common([lossText, "100"]).values;
    let whole = net;
    if (loss[0] > 0n) {
      const over = (loss[1] - loss[0]) * step;
      whole = ((net * loss[1] + over - 1n) / over) * step;
    }
    const unit = total * step; // one step, in the measure of whole * share
    const exact = shares.map((share) => whole * share);
    const sum = (list) => list.reduce((all, one) => all + one, 0n);
    if (filling !== null) {
      const shown = exact.map((one) => ((2n * one + unit) / (2n * unit)) * step);
      shown[filling] += whole - sum(shown);
      const away = shown[filling] * total - exact[filling];
      const allowed = 5n * exact[filling] > 100n * unit ? 5n * exact[filling] : 100n * unit;
      if (shown[filling] >= 0n && 100n * (away < 0n ? -away : away) <= allowed) return shown.map((one) => written(one, places));
    }
    const steps = exact.map((one) => one / unit);
    let spare = whole / step - sum(steps);
    const order = exact.map((_, place) => place).sort((a, b) => {
      const left = exact[b] % unit - exact[a] % unit || exact[b] - exact[a];
      return left > 0n ? 1 : left < 0n ? -1 : a - b;
    });
    for (const place of order) if (spare-- > 0n) steps[place] += 1n;
    const shown = steps.map((count) => count * step);
    let largest = 0;
    exact.forEach((one, place) => { if (one > exact[largest]) largest = place; });
    shown[largest] += whole - sum(shown);
    return shown.map((one) => written(one, places));
  }
  window.weighRecipe = weigh;

  const GRAMS = { g: "1", kg: "1000", oz: "28.349523125", lb: "453.59237" };
  const times = (a, b) => {
    const one = decimal(a), other = decimal(b);
    return written(one.digits * other.digits, one.places + other.places);
  };
  const amount = document.getElementById("amount"), unit = document.getElementById("unit");
  const scale = document.getElementById("scale"), fault = document.getElementById("amount-fault");
  const rough = (grams, density) => {
    const ml = grams / density;
    if (!ml) return "";
    const drops = (count) => (count === 1 ? "1 drop" : `${count} drops`);
    const two = (value) => String(Number(value.toPrecision(2)));
    if (ml / 5 > 12) return `${two(ml)} mL`;
    return ml / 5 >= 0.25 ? `${two(ml)} mL, ${two(ml / 5)} tsp` : `${two(ml)} mL, ${drops(Math.max(1, Math.round(ml * 20)))}`;
  };
  function show() {
    const typed = amount.value.trim().replace(",", ".");
    const good = /^\d{1,7}(\.\d{1,6})?$/.test(typed) && Number(typed) > 0;
    fault.hidden = good;
    amount.setAttribute("aria-invalid", String(!good));
    if (!good) return;
    const net = times(typed, GRAMS[unit.value]);
    const weights = weigh(data.percents, data.filling, data.loss, net, scale.value);
    const ounces = unit.value === "oz" || unit.value === "lb";
    document.querySelectorAll("[data-line]").forEach((row) => {
      const place = Number(row.dataset.line), grams = weights[place];
      row.querySelector(".grams").textContent = grams;
      row.querySelector(".ounces").textContent = ounces ? (Number(grams) / 28.349523125).toFixed(2) : "";
      row.querySelector(".rough").textContent = data.densities[place] ? rough(Number(grams), data.densities[place]) : "";
    });
    document.querySelectorAll(".ounces").forEach((cell) => { cell.hidden = !ounces; });
    const { values, places } = common(weights);
    document.getElementById("together").textContent = written(values.reduce((a, b) => a + b, 0n), places);
  }
  document.getElementById("scaling").hidden = false;
  for (const one of [amount, unit, scale]) one.addEventListener("input", show);
})();
