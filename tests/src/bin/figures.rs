//! Answers questions with the domain's figures, so that others can check them. Reads lines of JSON, each
//! `{"what": "...", ...arguments}`, from standard input and prints one line of JSON for each; `null` means no answer.
//! An unknown or unreadable question ends it with exit code 1.
//!
//! tests/python/reference.py asks the questions and compares the answers with those of other libraries.

use std::{
    io::{BufWriter, Write as _, stdin, stdout},
    process::ExitCode,
};

use anyhow::{Context as _, Result, bail};
use scionary_domain::{
    agreement::{
        alpha::{Metric, Unit, alpha},
        dawid_skene::{self, Options, Rating},
    },
    clearing::{DRAW_BITS, Explainer, Input, Unwatched, commitment, seed, settle_drawing},
    evidence::{
        median::{interval, interval_ranks, medians, middle, outliers, quantile, steps},
        share::{Quality, Report, estimate},
    },
    lineage::{Direction, Record, Route, Search},
    odds::{self, Chance, at_least_one},
    season::{Coverage, Span, mean_day},
    sowing::{SeedModel, UncertainSeed, at_least, needed, needed_uncertain},
    stats::{Share, beta_binomial_at_least, binomial_at_least, wilson},
    trueness::{CropModel, Held, Observed, Spread, Taught, Trueness, UnitId, after, taught},
};
use serde_json::{Value, json};

/// A question with its arguments.
struct Question(Value);

impl Question {
    fn get(&self, key: &str) -> Result<&Value> {
        self.0.get(key).with_context(|| format!("{key:?} is missing"))
    }
    fn text(&self, key: &str) -> Result<&str> {
        self.get(key)?.as_str().with_context(|| format!("{key:?} is not a text"))
    }
    fn number(&self, key: &str) -> Result<f64> {
        number(self.get(key)?)
    }
    fn whole(&self, key: &str) -> Result<usize> {
        whole(self.get(key)?)
    }
    fn count(&self, key: &str) -> Result<u32> {
        Ok(u32::try_from(self.whole(key)?)?)
    }
    fn yes(&self, key: &str) -> Result<bool> {
        self.get(key)?.as_bool().with_context(|| format!("{key:?} is neither true nor false"))
    }
    fn numbers(&self, key: &str) -> Result<Vec<f64>> {
        list(self.get(key)?)?.iter().map(number).collect()
    }
    /// Returns the distribution of a share, given as `[a, b]`.
    fn share(&self, key: &str) -> Result<Share> {
        match self.numbers(key)?.as_slice() {
            [a, b] => Ok(Share { a: *a, b: *b }),
            _ => bail!("{key:?} is not [a, b]"),
        }
    }
}

fn list(value: &Value) -> Result<&Vec<Value>> {
    value.as_array().with_context(|| format!("{value} is not a list"))
}

fn number(value: &Value) -> Result<f64> {
    value.as_f64().with_context(|| format!("{value} is not a number"))
}

fn whole(value: &Value) -> Result<usize> {
    let found = value.as_u64().with_context(|| format!("{value} is not a whole number"))?;
    Ok(usize::try_from(found)?)
}

fn answer(line: &str) -> Result<Value> {
    let q = Question(serde_json::from_str(line)?);
    Ok(match q.text("what")? {
        "alpha" => alpha_of(&q)?,
        "trace" => trace_of(&q)?,
        "round" => round_of(&q)?,
        "dawid_skene" => dawid_skene_of(&q)?,
        "share_estimate" => estimate_of(&q)?,
        "jeffreys" => {
            let share = Share::JEFFREYS.after(q.number("counted")?, q.number("of_these")?);
            json!(share.interval(q.number("confidence")?))
        }
        "wilson" => json!(wilson(q.number("counted")?, q.number("of_these")?, q.number("z")?)),
        "share_below" => json!(q.share("share")?.below(q.number("at")?)),
        "share_quantile" => json!(q.share("share")?.quantile(q.number("p")?)),
        "share_interval" => json!(q.share("share")?.interval(q.number("confidence")?)),
        "binomial_at_least" => json!(binomial_at_least(q.count("k")?, q.count("n")?, q.number("p")?)),
        "beta_binomial_at_least" => {
            json!(beta_binomial_at_least(q.count("k")?, q.count("n")?, q.share("share")?))
        }
        "needed" => json!(needed(q.count("wanted")?, q.number("confidence")?, q.number("chance")?)),
        "needed_uncertain" => {
            json!(needed_uncertain(q.count("wanted")?, q.number("confidence")?, q.share("share")?))
        }
        "crop_model" => crop_model_of(&q)?,
        "needed_of_both" => {
            let known = |key: &str| Ok::<_, anyhow::Error>(Chance::Known(learnt(q.get(key)?)?));
            let both = known("first")?.and(&known("second")?);
            let found = odds::needed(q.count("wanted")?, q.number("confidence")?, &both);
            json!([found.likely, found.at_best, found.at_worst])
        }
        "off_type_in_batch" => {
            json!(at_least_one(q.count("batch")?, &Chance::Known(learnt(q.get("counted")?)?)).likely)
        }
        "seed_model" => {
            let model = SeedModel {
                germination: q.number("germination")?,
                several: q.number("several")?,
                zygotic: q.number("zygotic")?,
                sprouts: q.number("sprouts")?,
                lone_true: q.number("lone_true")?,
            };
            json!([model.random_keep(), model.cull_weakest(q.number("weakest_is_zygotic")?)])
        }
        "uncertain_seed" => {
            let culled = !q.get("weakest_is_zygotic")?.is_null();
            let seed = UncertainSeed {
                germination: q.share("germination")?,
                several: q.share("several")?,
                zygotic: q.share("zygotic")?,
                sprouts: q.number("sprouts")?,
                weakest_is_zygotic: culled.then(|| q.share("weakest_is_zygotic")).transpose()?,
                lone_true: q.number("lone_true")?,
            };
            let wanted = q.count("wanted")?;
            json!({
                "at_least": at_least(&seed.chances(), wanted, q.count("n")?),
                // Asked only where the calculation is quick.
                "needed": match q.get("confidence") {
                    Ok(confidence) => seed.needed(wanted, number(confidence)?),
                    Err(_) => None,
                },
            })
        }
        "medians" => json!({
            "pair": medians(&q.numbers("values")?),
            "middle": middle(&q.numbers("values")?),
        }),
        "quantile" => json!(quantile(&q.numbers("values")?, q.number("p")?)),
        "interval_ranks" => json!(interval_ranks(q.whole("n")?, q.number("confidence")?)),
        "median_interval" => json!(interval(&q.numbers("values")?, q.number("confidence")?)),
        "outliers" => {
            let found = outliers(&q.numbers("values")?, q.number("factor")?);
            json!(found.iter().map(|outlier| outlier.at).collect::<Vec<_>>())
        }
        "steps" => {
            let values: Vec<usize> = list(q.get("values")?)?.iter().map(whole).collect::<Result<_>>()?;
            json!(steps(&values, q.number("confidence")?).map(|found| json!({
                "median": found.median,
                "quartiles": found.quartiles,
                "interval": found.interval,
                "range": found.range,
            })))
        }
        "mean_day" => json!(mean_day(&q.numbers("days")?)),
        "coverage" => coverage_of(&q)?,
        other => bail!("no figure is called {other:?}"),
    })
}

/// Returns what is known of a share after the count `[x, n]` alone.
fn learnt(counted: &Value) -> Result<Spread> {
    let [x, n] = list(counted)?.as_slice() else { bail!("{counted} is not [x, n]") };
    let observed = Observed::counted(u32::try_from(whole(x)?)?, u32::try_from(whole(n)?)?);
    Ok(after(CropModel::default().predictive(), &observed))
}

/// Returns what was observed of a cultivar: `counts` of `[x, n]`, `rates` of `[low, high]`, `held` as
/// `[x, n, sprouts or null]`.
fn observed(unit: &Value) -> Result<Observed> {
    let of = |key: &str| unit.get(key).and_then(Value::as_array).cloned().unwrap_or_default();
    let mut all = Observed::default();
    for counted in of("counts") {
        let [x, n] = list(&counted)?.as_slice() else { bail!("{counted} is not [x, n]") };
        let one = Observed::counted(u32::try_from(whole(x)?)?, u32::try_from(whole(n)?)?);
        all.yes += one.yes;
        all.no += one.no;
    }
    for rate in of("rates") {
        let [low, high] = list(&rate)?.as_slice() else { bail!("{rate} is not [low, high]") };
        all.add_rate(number(low)?, number(high)?, None);
    }
    if let [x, n, sprouts] = of("held").as_slice() {
        let seeds = Observed::counted(u32::try_from(whole(x)?)?, u32::try_from(whole(n)?)?);
        all.held = Some(Held { with: seeds.yes, without: seeds.no, sprouts: sprouts.as_f64() });
    }
    Ok(all)
}

/// Returns the 5, 50 and 95 % quantiles and the mean for each cultivar (`posterior`), for the crop without that
/// cultivar (`left_out`), and for a cultivar without a count (`uncounted`).
fn crop_model_of(q: &Question) -> Result<Value> {
    let told = |spread: &Spread| {
        json!([spread.quantile(0.05), spread.quantile(0.5), spread.quantile(0.95), spread.mean()])
    };
    let units: Vec<Observed> = list(q.get("units")?)?.iter().map(observed).collect::<Result<_>>()?;
    let id = |at: usize| UnitId::Subject(format!("{at:04}"));
    let model = CropModel::new(units.iter().cloned().enumerate().map(|(at, unit)| (id(at), unit)));
    let each = |at: usize, unit: &Observed| {
        json!({
            "posterior": told(&model.of_cultivar(&id(at), unit).off_type),
            "left_out": told(&model.of_cultivar(&id(at), unit).of_crop),
        })
    };
    let taught_of = |known: &Trueness| {
        let row = |t: Taught| json!([t.judged, t.width, t.middle, t.after_middle.0, t.after_middle.1]);
        taught(known, Quality::Documented).into_iter().map(row).collect::<Vec<_>>()
    };
    Ok(json!({
        "taught": taught_of(&model.of_uncounted()),
        "uncounted": told(model.predictive()),
        "units": units.iter().enumerate().map(|(at, unit)| each(at, unit)).collect::<Vec<_>>(),
    }))
}

fn alpha_of(q: &Question) -> Result<Value> {
    let metric = match q.text("metric")? {
        "nominal" => Metric::Nominal,
        "ordinal" => Metric::Ordinal,
        "interval" => Metric::Interval,
        "ratio" => Metric::Ratio,
        "circular" => Metric::Circular { period: q.number("period")? },
        other => bail!("no metric is called {other:?}"),
    };
    let units: Vec<Unit> = list(q.get("units")?)?
        .iter()
        .map(|unit| list(unit)?.iter().map(number).collect())
        .collect::<Result<_>>()?;
    Ok(json!(alpha(&units, metric).map(|found| json!({
        "value": found.value,
        "units": found.units,
        "values": found.values,
    }))))
}

fn dawid_skene_of(q: &Question) -> Result<Value> {
    let mut ratings = Vec::new();
    for rating in list(q.get("ratings")?)? {
        let [item, observer, class] = list(rating)?.as_slice() else {
            bail!("a rating is not [item, observer, class]")
        };
        ratings.push(Rating { item: whole(item)?, observer: whole(observer)?, class: whole(class)? });
    }
    let options = if q.yes("map")? { Options::MAP } else { Options::ML };
    let most = |chances: &Vec<f64>| (0..chances.len()).max_by(|a, b| chances[*a].total_cmp(&chances[*b]));
    Ok(json!(dawid_skene::fit(&ratings, q.whole("classes")?, options).map(|fit| json!({
        "class_shares": fit.class_shares,
        "log_likelihood": fit.log_likelihood,
        "classes": fit.posterior.iter().map(most).collect::<Vec<_>>(),
        "posterior": fit.posterior,
        "confusion": fit.confusion,
    }))))
}

fn estimate_of(q: &Question) -> Result<Value> {
    let mut reports = Vec::new();
    for report in list(q.get("reports")?)? {
        let report = Question(report.clone());
        let quality = match report.text("quality")? {
            "documented" => Quality::Documented,
            "counted" => Quality::Counted,
            other => bail!("no quality is called {other:?}"),
        };
        let (counted, of_these) = (report.number("counted")?, report.number("of_these")?);
        reports.push(Report::new(report.text("who")?, counted, of_these, quality));
    }
    Ok(json!(estimate(&reports).map(|found| json!({
        "a": found.posterior.a,
        "b": found.posterior.b,
        "low": found.interval.0,
        "high": found.interval.1,
        "effective": found.effective,
        "people": found.people,
        "size": format!("{:?}", found.size).to_lowercase(),
        "size_probability": found.size_probability,
        "standing": format!("{:?}", found.standing).to_lowercase(),
    }))))
}

fn coverage_of(q: &Question) -> Result<Value> {
    let mut spans = Vec::new();
    for span in list(q.get("spans")?)? {
        let [first, last] = list(span)?.as_slice() else { bail!("a span is not [first, last]") };
        let (first, last) = (u16::try_from(whole(first)?)?, u16::try_from(whole(last)?)?);
        spans.push(Span::new(first, last).with_context(|| format!("{first} to {last} is no span"))?);
    }
    let at_least = q.number("at_least")?;
    Ok(json!(Coverage::of(&spans).map(|coverage| {
        let windows = coverage.windows(at_least);
        json!({
            "windows": windows.iter().map(|span| [span.first, span.last]).collect::<Vec<_>>(),
            "half_months": coverage.half_months(),
        })
    })))
}

fn answer_all() -> Result<()> {
    let mut out = BufWriter::new(stdout().lock());
    for line in stdin().lines() {
        let line = line?;
        if !line.trim().is_empty() {
            writeln!(out, "{}", answer(&line).with_context(|| line.clone())?)?;
        }
    }
    Ok(out.flush()?)
}

fn main() -> ExitCode {
    match answer_all() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::from(1)
        }
    }
}

/// Returns a round, sealed and settled: the contents of its audit, and with `reasons` why each lot of a wish did not go
/// to it.
fn round_of(q: &Question) -> Result<Value> {
    let input: Input = serde_json::from_value(q.get("input")?.clone())?;
    let (secret, hash) = (q.text("secret")?, input.hash()?);
    // Settled again on the day, the draw is that of what was sealed.
    let sealed = q.0.get("sealed_hash").and_then(Value::as_str).unwrap_or(&hash).to_string();
    let bits = q.0.get("bits").and_then(Value::as_u64).map_or(DRAW_BITS, |bits| bits as u32);
    let drawn = seed(secret, &sealed, &input.round);
    let outcome = settle_drawing(&input, &drawn, bits, &mut Unwatched, &mut |_| {})?;
    let mut reasons = Vec::new();
    if q.0.get("reasons").and_then(Value::as_bool) == Some(true) {
        let explainer = Explainer::new(&input, &outcome)?;
        for want in &input.wants {
            for (lot, reason) in explainer.whys(&want.id).unwrap_or_default() {
                reasons.push(json!([lot, want.id, reason]));
            }
        }
    }
    Ok(json!({
        "input": input, "sealed_hash": sealed, "input_hash": hash, "secret": secret, "commitment": commitment(secret), "outcome": outcome,
        "reasons": reasons,
    }))
}

fn trace_of(q: &Question) -> Result<Value> {
    let forward = q.yes("forward")?;
    let day = |value: &Value| value.as_i64().with_context(|| format!("{value} is not a day"));
    let route = |value: &Value| {
        let word = value.as_str().unwrap_or_default();
        Route::from_word(word).with_context(|| format!("{word:?} is no route"))
    };
    let routes = list(q.get("routes")?)?.iter().map(route).collect::<Result<Vec<_>>>()?;
    let mut records = Vec::new();
    for row in list(q.get("records")?)? {
        let [parent, child, on, by] = list(row)?.as_slice() else { bail!("{row} is not a record") };
        records.push(Record {
            parent: whole(parent)?,
            child: whole(child)?,
            day: day(on)?,
            route: route(by)?,
        });
    }
    let direction = if forward { Direction::Forward } else { Direction::Back };
    let mut search = Search::new(direction, [(q.whole("start")?, day(q.get("day")?)?)], &routes);
    for row in list(q.get("clean")?)? {
        let [thing, until] = list(row)?.as_slice() else { bail!("{row} is no test") };
        search.learn_clean(whole(thing)?, day(until)?);
    }
    loop {
        let wanted = search.wanted();
        if wanted.is_empty() {
            break;
        }
        let known =
            |record: &&Record<usize>| wanted.contains(if forward { &record.parent } else { &record.child });
        search.take(records.iter().filter(known));
    }
    Ok(search.found().iter().map(|(thing, exposure)| json!([thing, exposure.day])).collect())
}
