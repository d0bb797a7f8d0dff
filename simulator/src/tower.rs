//! One tower as a mechanism: drum and rope, pins, a mast whose sections can jam, a head that bounces on all of them.
//!
//! The head moves up and down only; it is pushed up by rope, pin or jam and down by the truss and its own weight. Rope and
//! pin can push up but never pull down. Heights in m above the floor, forces in N.

/// What a tower is made of.
#[derive(Clone, Debug)]
pub struct Make {
    /// Rope, at the head, N/m.
    pub rope_n_per_m: f64,
    /// Pin, N/m.
    pub pin_n_per_m: f64,
    /// Weight of head and moving sections, N.
    pub head_n: f64,
    /// Mass of truss that moves with this head, kg.
    pub truss_kg: f64,
    /// Damping, share of critical.
    pub damping: f64,
    /// Rise of the head for a turn on the first layer, m.
    pub rise_m: f64,
    /// Growth of the rise by layer, share.
    pub layer: f64,
}

/// A jammed mast section: a spring both ways at the place where it stuck. Source: a jam is many times stiffer than the
/// rope; 3 kN/mm keeps the head within a millimetre. No source.
const JAM_N_PER_M: f64 = 3.0e6;
/// Rope on one layer of the drum, turns. Source: common practice, no source.
const LAYER_TURNS: f64 = 14.0;

/// One tower in time.
#[derive(Clone, Debug)]
pub struct Tower {
    /// What it is made of.
    pub make: Make,
    /// Height at which the head would hang with no load on the rope.
    pub rope_m: f64,
    /// Speed of the above, m/s.
    pub rope_speed: f64,
    /// Head.
    pub z_m: f64,
    /// Head's speed.
    pub speed: f64,
    /// Pin under the head, where one is in.
    pub pin_m: Option<f64>,
    /// Where a section has jammed.
    pub jam_m: Option<f64>,
    /// The mast goes no higher.
    pub top_m: Option<f64>,
    /// The floor under the foot has gone down by.
    pub sunk_m: f64,
    /// What the rope had to be wound further than the head for its stretch at the start.
    pub stretch_m: f64,
    /// Turns on the drum since the start.
    pub turns: f64,
    /// A crossed rope: the turn up to which it was followed, and what it has climbed since it last let go, m.
    pub climbed: (f64, f64),
    /// A crossed rope lets go when it has climbed so far, m.
    pub lets_go_m: Option<f64>,
    /// Upward force of the rope on the head.
    pub rope_n: f64,
    /// Upward force of the pin on the head.
    pub pin_n: f64,
    /// What the head's cell feels: force between head and truss.
    pub cell_n: f64,
}

impl Tower {
    /// A tower whose head stands still at `z_m` under `share_n`, on its rope or on a pin.
    pub fn standing(make: Make, z_m: f64, share_n: f64, pinned: bool, slack_m: f64) -> Self {
        let carried = share_n + make.head_n;
        let (rope_m, pin_m) =
            if pinned { (z_m - slack_m, Some(z_m + carried / make.pin_n_per_m)) } else { (z_m + carried / make.rope_n_per_m, None) };
        let (rope_n, pin_n) = if pinned { (0.0, carried) } else { (carried, 0.0) };
        Tower {
            make,
            rope_m,
            rope_speed: 0.0,
            z_m,
            speed: 0.0,
            pin_m,
            jam_m: None,
            top_m: None,
            sunk_m: 0.0,
            stretch_m: if pinned { 0.0 } else { rope_m - z_m },
            turns: 0.0,
            climbed: (0.0, 0.0),
            lets_go_m: None,
            rope_n,
            pin_n,
            cell_n: share_n,
        }
    }

    /// Rise of the head for one turn with the rope as it lies on the drum now, m.
    pub fn rise_m(&self) -> f64 {
        self.make.rise_m * (1.0 + self.make.layer * (self.turns / LAYER_TURNS).floor())
    }

    /// Winds `turns` (negative: pays out), evenly over the next `dt_s`.
    pub fn wind(&mut self, turns: f64, dt_s: f64) {
        self.rope_speed = turns * self.rise_m() / dt_s;
        self.turns += turns;
    }

    /// The rope loses so much, at once or little by little.
    pub fn slip(&mut self, by_m: f64) {
        self.rope_m -= by_m;
    }

    /// A rope that lies crossed climbs by `per_turn_m` as the drum turns, and lets go once it has climbed `most_m`. Gives whether it did.
    pub fn climb(&mut self, per_turn_m: f64, most_m: f64) -> bool {
        let by = (self.turns - self.climbed.0).abs() * per_turn_m;
        self.climbed = (self.turns, self.climbed.1 + by);
        self.rope_m += by;
        let lets_go = self.climbed.1 >= most_m;
        if lets_go {
            self.slip(self.climbed.1);
            self.climbed.1 = 0.0;
        }
        lets_go
    }

    /// Moves the head on by `dt_s`: the truss presses with `truss_n` where it stands, shaken by `shake_n`.
    ///
    /// Semi-implicit Euler: speed first, then place; stable here up to steps of some 15 ms.
    pub fn advance(&mut self, truss_n: f64, shake_n: f64, dt_s: f64) {
        self.rope_m += self.rope_speed * dt_s;
        let make = &self.make;
        let mass = make.truss_kg + make.head_n / raisewatch_protocol::units::STANDARD_GRAVITY;
        let damp = |stiff: f64| 2.0 * make.damping * (stiff * mass).sqrt();
        let reach = self.rope_m - self.sunk_m - self.z_m;
        self.rope_n = one_way(reach, self.rope_speed - self.speed, make.rope_n_per_m, damp(make.rope_n_per_m));
        self.pin_n =
            self.pin_m.map_or(0.0, |pin| one_way(pin - self.sunk_m - self.z_m, -self.speed, make.pin_n_per_m, damp(make.pin_n_per_m)));
        let jam = self.jam_m.map_or(0.0, |at| JAM_N_PER_M * (at - self.z_m) - 2.0 * damp(JAM_N_PER_M) * self.speed);
        let top = self.top_m.map_or(0.0, |at| -one_way(self.z_m - at, self.speed, JAM_N_PER_M, damp(JAM_N_PER_M)));
        let pull = self.rope_n + self.pin_n + jam + top - truss_n - shake_n - make.head_n;
        let acceleration = pull / mass;
        self.speed += acceleration * dt_s;
        self.z_m += self.speed * dt_s;
        self.cell_n = truss_n + shake_n + make.truss_kg * acceleration;
    }

    /// Pulls the pin's place to where the head stands, `over_m` below it.
    pub fn pin_below(&mut self, over_m: f64) {
        self.pin_m = Some(self.z_m + self.sunk_m - over_m);
    }
}

/// A spring that only pushes: nothing while open, never pulling back while closing fast.
fn one_way(reach_m: f64, closing: f64, stiff: f64, damp: f64) -> f64 {
    if reach_m > 0.0 { (stiff * reach_m + damp * closing).max(0.0) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn make() -> Make {
        Make { rope_n_per_m: 1e5, pin_n_per_m: 4e5, head_n: 80.0, truss_kg: 97.0, damping: 0.08, rise_m: 0.025, layer: 0.0 }
    }

    fn run(tower: &mut Tower, seconds: f64, load_n: f64) -> f64 {
        let mut peak = 0.0_f64;
        for _ in 0..(seconds / 0.002) as usize {
            tower.rope_speed = 0.0;
            tower.advance(load_n, 0.0, 0.002);
            peak = peak.max(tower.rope_n);
        }
        peak
    }

    #[test]
    fn stands_still_where_it_was_put() {
        for pinned in [false, true] {
            let mut tower = Tower::standing(make(), 3.0, 950.0, pinned, 0.025);
            run(&mut tower, 2.0, 950.0);
            assert!((tower.z_m - 3.0).abs() < 1e-9 && (tower.cell_n - 950.0).abs() < 1e-6, "{pinned}");
        }
    }

    /// Slack catch: F/F_static = 1 + sqrt(1 + 2 s k/(m g)). Source: docs/trade.md 3.6, energy of a fall on to a spring (undamped).
    #[test]
    fn a_fall_on_to_the_rope_peaks_as_energy_says() {
        for slack in [0.010, 0.025, 0.075] {
            let made = Make { damping: 0.0, ..make() };
            let mut tower = Tower::standing(made, 3.0, 950.0, true, slack);
            // Slack counts from where the rope begins to pull, the head standing on its pin.
            tower.pin_m = None;
            let peak = run(&mut tower, 1.0, 950.0);
            let still = 950.0 + 80.0;
            let expected = 1.0 + (1.0 + 2.0 * slack * 1e5 / still).sqrt();
            assert!((peak / still / expected - 1.0).abs() < 0.03, "{slack}: {} not {expected}", peak / still);
        }
    }

    /// 25 mm of free fall takes 71 ms. Source: docs/trade.md section 2, failure 16 (sqrt(2 s / g)).
    #[test]
    fn slack_is_fallen_through_freely() {
        let mut tower = Tower::standing(make(), 3.0, 950.0, true, 0.025);
        tower.pin_m = None;
        let mut t = 0.0_f64;
        // The cell's truss load falls away in a free fall: what presses is carried by nothing.
        while tower.rope_n == 0.0 && t < 1.0 {
            tower.advance(950.0, 0.0, 0.0005);
            t += 0.0005;
        }
        assert!((t - 0.0714).abs() < 0.003, "{t}");
    }

    /// A cranking start at v rings with v sqrt(k m). Source: docs/trade.md 3.6, dynamic allowance.
    #[test]
    fn a_start_rings_with_speed_times_root_of_stiffness_times_mass() {
        let made = Make { damping: 0.0, ..make() };
        let mut tower = Tower::standing(made, 3.0, 950.0, false, 0.0);
        let mut peak = 0.0_f64;
        for _ in 0..1000 {
            tower.wind(0.002, 0.002);
            tower.advance(950.0, 0.0, 0.002);
            peak = peak.max(tower.rope_n);
        }
        let mass = 97.0 + 80.0 / 9.80665;
        let expected = 1030.0 + 0.025 * (1e5_f64 * mass).sqrt();
        assert!((peak / expected - 1.0).abs() < 0.01, "{peak} {expected}");
    }

    #[test]
    fn a_jam_carries_while_the_rope_goes_slack_and_lets_go_with_a_drop() {
        let mut tower = Tower::standing(make(), 1.6, 950.0, false, 0.0);
        tower.jam_m = Some(tower.z_m);
        for _ in 0..2000 {
            tower.wind(-0.0024, 0.002);
            tower.advance(950.0, 0.0, 0.002);
        }
        assert!(tower.rope_n == 0.0 && (tower.z_m - 1.6).abs() < 0.001 && (tower.cell_n - 950.0).abs() < 20.0);
        tower.jam_m = None;
        let peak = run(&mut tower, 2.0, 950.0);
        assert!(peak > 3.0 * 1030.0 && tower.z_m < 1.5, "{peak} {}", tower.z_m);
    }
}
