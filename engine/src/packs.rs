//! The embedded rules: as text, and checked.

use crate::check::{Checked, check};
use crate::source::{LoadError, Loader, SourceId, Sources};

/// An embedded file: its name for `use`, its path beside this crate, its text.
#[derive(Debug, Clone, Copy)]
pub struct Pack {
    /// `builtin/dates`, or `builtin/eia96.csv`.
    pub name: &'static str,
    /// `standards/dates.lore`
    pub path: &'static str,
    /// The text.
    pub text: &'static str,
}

macro_rules! packs {
    ($($name:literal $path:literal),* $(,)?) => {
        /// All embedded files, sorted by name.
        pub const PACKS: &[Pack] = &[
            $(Pack { name: concat!("builtin/", $name), path: $path, text: include_str!(concat!("../packs/", $path)) }),*
        ];
    };
}

packs! {
    "adesto" "makers/adesto.lore",
    "adi" "makers/adi.lore",
    "altera" "makers/altera.lore",
    "amic" "makers/amic.lore",
    "analog_common" "makers/analog_common.lore",
    "atmega.csv" "makers/atmega.csv",
    "atmel_pld" "makers/atmel_pld.lore",
    "attiny.csv" "makers/attiny.csv",
    "audio" "makers/audio.lore",
    "avr" "makers/avr.lore",
    "avr90.csv" "makers/avr90.csv",
    "avr_new" "makers/avr_new.lore",
    "avr_tiny" "makers/avr_tiny.lore",
    "bipolars" "makers/bipolars.lore",
    "capacitor_codes" "standards/capacitor_codes.lore",
    "clocks_ds" "makers/clocks_ds.lore",
    "cmos4000" "makers/cmos4000.lore",
    "cmos4000.csv" "makers/cmos4000.csv",
    "cypress_mb9" "makers/cypress_mb9.lore",
    "cypress_psoc4" "makers/cypress_psoc4.lore",
    "dates" "standards/dates.lore",
    "diodes" "makers/diodes.lore",
    "diodes_sot23.csv" "makers/diodes_sot23.csv",
    "discrete_marks" "makers/discrete_marks.lore",
    "dram_hynix" "makers/dram_hynix.lore",
    "dram_old" "makers/dram_old.lore",
    "dram_other" "makers/dram_other.lore",
    "dram_tables" "makers/dram_tables.lore",
    "dram_taiwan" "makers/dram_taiwan.lore",
    "e_series.csv" "standards/e_series.csv",
    "eeprom_other" "makers/eeprom_other.lore",
    "eia96.csv" "standards/eia96.csv",
    "elpida" "makers/elpida.lore",
    "emmc" "makers/emmc.lore",
    "eon" "makers/eon.lore",
    "espressif" "makers/espressif.lore",
    "flash_china" "makers/flash_china.lore",
    "flash_more" "makers/flash_more.lore",
    "gigadevice" "makers/gigadevice.lore",
    "gigadevice_gd32" "makers/gigadevice_gd32.lore",
    "hitachi_memory" "makers/hitachi_memory.lore",
    "hk_hk32" "makers/hk_hk32.lore",
    "hynix_flash" "makers/hynix_flash.lore",
    "hynix_sdram" "makers/hynix_sdram.lore",
    "interface" "makers/interface.lore",
    "interface_more" "makers/interface_more.lore",
    "issi" "makers/issi.lore",
    "labels" "standards/labels.lore",
    "lattice" "makers/lattice.lore",
    "lattice_more" "makers/lattice_more.lore",
    "linear" "makers/linear.lore",
    "lm3s.csv" "makers/lm3s.csv",
    "logic" "makers/logic.lore",
    "logic_74" "makers/logic_74.lore",
    "logic_functions.csv" "makers/logic_functions.csv",
    "macronix" "makers/macronix.lore",
    "macronix_more" "makers/macronix_more.lore",
    "makers" "makers/makers.lore",
    "marks" "standards/marks.lore",
    "maxim" "makers/maxim.lore",
    "microchip_analog" "makers/microchip_analog.lore",
    "microchip_eeprom" "makers/microchip_eeprom.lore",
    "microchip_marks" "makers/microchip_marks.lore",
    "microchip_pic" "makers/microchip_pic.lore",
    "microchip_pic32" "makers/microchip_pic32.lore",
    "microchip_sam" "makers/microchip_sam.lore",
    "microchip_sc70.csv" "makers/microchip_sc70.csv",
    "microchip_sot23.csv" "makers/microchip_sot23.csv",
    "microchip_sram" "makers/microchip_sram.lore",
    "micron" "makers/micron.lore",
    "micron_dram" "makers/micron_dram.lore",
    "micron_flash" "makers/micron_flash.lore",
    "military" "standards/military.lore",
    "modules_more" "makers/modules_more.lore",
    "mosfets" "makers/mosfets.lore",
    "msp430.csv" "makers/msp430.csv",
    "nand_more" "makers/nand_more.lore",
    "nexperia" "makers/nexperia.lore",
    "nexperia_sot23.csv" "makers/nexperia_sot23.csv",
    "nordic" "makers/nordic.lore",
    "nxp_kinetis" "makers/nxp_kinetis.lore",
    "nxp_kinetis_k" "makers/nxp_kinetis_k.lore",
    "nxp_lpc" "makers/nxp_lpc.lore",
    "nxp_lpc111x" "makers/nxp_lpc111x.lore",
    "onsemi" "makers/onsemi.lore",
    "onsemi_sot23.csv" "makers/onsemi_sot23.csv",
    "optocouplers" "makers/optocouplers.lore",
    "passives" "makers/passives.lore",
    "passives_chip" "makers/passives_chip.lore",
    "passives_more" "makers/passives_more.lore",
    "pic16.csv" "makers/pic16.csv",
    "pic18.csv" "makers/pic18.csv",
    "pmc" "makers/pmc.lore",
    "power_ics" "makers/power_ics.lore",
    "power_transistors" "makers/power_transistors.lore",
    "protection" "makers/protection.lore",
    "radio" "makers/radio.lore",
    "rectifiers" "makers/rectifiers.lore",
    "references" "makers/references.lore",
    "regulator_hundredths.csv" "makers/regulator_hundredths.csv",
    "regulators_78" "makers/regulators_78.lore",
    "regulators_adjustable" "makers/regulators_adjustable.lore",
    "regulators_fixed" "makers/regulators_fixed.lore",
    "renesas_ra" "makers/renesas_ra.lore",
    "renesas_rl78" "makers/renesas_rl78.lore",
    "sensors" "makers/sensors.lore",
    "silabs_efm32" "makers/silabs_efm32.lore",
    "silabs_efm8" "makers/silabs_efm8.lore",
    "silabs_gecko" "makers/silabs_gecko.lore",
    "spansion" "makers/spansion.lore",
    "sram_cypress" "makers/sram_cypress.lore",
    "sram_more" "makers/sram_more.lore",
    "st_memory" "makers/st_memory.lore",
    "st_stm32" "makers/st_stm32.lore",
    "suppressors" "makers/suppressors.lore",
    "ti_analog" "makers/ti_analog.lore",
    "ti_dlpc" "makers/ti_dlpc.lore",
    "ti_ldo" "makers/ti_ldo.lore",
    "ti_ldo_voltages.csv" "makers/ti_ldo_voltages.csv",
    "ti_logic" "makers/ti_logic.lore",
    "ti_msp430" "makers/ti_msp430.lore",
    "ti_references" "makers/ti_references.lore",
    "ti_stellaris" "makers/ti_stellaris.lore",
    "ti_wireless" "makers/ti_wireless.lore",
    "tinyavr.csv" "makers/tinyavr.csv",
    "transistors" "makers/transistors.lore",
    "types" "standards/types.lore",
    "usb_ethernet" "makers/usb_ethernet.lore",
    "values" "standards/values.lore",
    "winbond" "makers/winbond.lore",
    "winbond_more" "makers/winbond_more.lore",
    "xilinx" "makers/xilinx.lore",
    "xilinx_7series.csv" "makers/xilinx_7series.csv",
    "xilinx_more" "makers/xilinx_more.lore",
    "xilinx_packages.csv" "makers/xilinx_packages.csv",
    "xilinx_spartan.csv" "makers/xilinx_spartan.csv",
    "xilinx_virtex.csv" "makers/xilinx_virtex.csv",
    "xmega.csv" "makers/xmega.csv",
    "zener" "makers/zener.lore",
}

/// The text of an embedded file as named in `use` or `from` of the text called `from`.
#[must_use]
pub fn find(from: &str, path: &str) -> Option<&'static Pack> {
    let name = if path.starts_with("builtin/") {
        path.to_owned()
    } else {
        format!("{}/{path}", from.rsplit_once('/')?.0)
    };
    PACKS.iter().find(|pack| pack.name == name)
}

/// Serves the embedded files alone.
#[derive(Debug, Clone, Copy)]
pub struct Embedded;

impl Loader for Embedded {
    fn load(&self, from: &str, path: &str) -> Result<(String, String), LoadError> {
        let pack = find(from, path).ok_or(LoadError::NotFound)?;
        Ok((pack.name.to_owned(), pack.text.to_owned()))
    }
}

/// Adds the embedded rule files for which `wanted` holds of the name after `builtin/`.
pub fn add(sources: &mut Sources, wanted: impl Fn(&str) -> bool) -> Vec<SourceId> {
    let files = PACKS.iter().filter(|pack| pack.path.ends_with(".lore"));
    let named = |pack: &&Pack| wanted(pack.name.trim_start_matches("builtin/"));
    files
        .filter(named)
        .map(|pack| sources.add(pack.name, pack.text, true))
        .collect()
}

/// All embedded rules, checked.
#[must_use]
pub fn checked() -> (Sources, Checked) {
    let mut sources = Sources::default();
    let roots = add(&mut sources, |_| true);
    let checked = check(&mut sources, &roots, &Embedded);
    (sources, checked)
}

/// The text of an embedded file by its name.
#[must_use]
pub fn text(name: &str) -> Option<&'static str> {
    let at = PACKS.binary_search_by_key(&name, |pack| pack.name).ok()?;
    Some(PACKS[at].text)
}
