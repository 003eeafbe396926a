//! The commands as a user types them.

mod board;
mod board_files;
mod board_new;
mod board_report;
mod bulk;
mod context;
mod decode;
mod draft;
mod keep;
mod keeper_day;
mod lab;
mod relations;
mod rules;
mod specimens;
mod wrong_use;
