//! The door through which the page asks the library: a request in JSON, an answer in JSON.
//!
//! The page puts the request's bytes where [`room`] says, calls [`ask`], reads as many bytes of
//! the answer as that gives at [`answer`], and calls [`free`].

mod host;
mod request;

use std::cell::RefCell;

pub use host::Host;

thread_local! {
    static ASKED: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static TOLD: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static HOST: RefCell<Host> = RefCell::new(Host::default());
}

/// Makes room for a request of so many bytes, and says where.
#[expect(unsafe_code, reason = "its name is what the page calls it by")]
#[unsafe(no_mangle)]
pub extern "C" fn room(bytes: usize) -> *mut u8 {
    ASKED.with_borrow_mut(|asked| {
        asked.clear();
        asked.resize(bytes, 0);
        asked.as_mut_ptr()
    })
}

/// Answers the request that was put into the room, and says how many bytes the answer has.
#[expect(unsafe_code, reason = "its name is what the page calls it by")]
#[unsafe(no_mangle)]
pub extern "C" fn ask() -> usize {
    let asked = ASKED.take();
    let told = HOST.with_borrow_mut(|host| host.ask(&asked)).into_bytes();
    let bytes = told.len();
    TOLD.replace(told);
    bytes
}

/// Where the answer stands.
#[expect(unsafe_code, reason = "its name is what the page calls it by")]
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> *const u8 {
    TOLD.with_borrow(|told| told.as_ptr())
}

/// Gives back the memory of the answer.
#[expect(unsafe_code, reason = "its name is what the page calls it by")]
#[unsafe(no_mangle)]
pub extern "C" fn free() {
    TOLD.take();
}
